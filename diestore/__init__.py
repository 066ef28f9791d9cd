"""The register, and the site itself."""

__version__ = "0.1.0"
