"""How an older ledger is brought up to date, step by step; alembic runs the steps."""
