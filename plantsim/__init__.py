"""plantsim: a wash-water plant before the plant."""

__version__ = "0.1.0"
