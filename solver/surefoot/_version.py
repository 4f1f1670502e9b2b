"""The version, in its one place."""

__version__ = "0.2.0"
