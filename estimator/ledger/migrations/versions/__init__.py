"""One module for each version of the ledger; a step once released is never changed."""
