"""From a condition survey of a machine to a quote a customer can sign."""

__version__ = "0.1.0"
