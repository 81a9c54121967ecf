"""The version of the library, apart from the front door so that every room may ask for it."""

__version__ = "0.1.0"
