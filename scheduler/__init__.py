"""shelfbell: keeps a fleet fit to fly, and rings when something needs you."""

__version__ = "0.7.0"
