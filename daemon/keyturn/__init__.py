"""Keyturn: the back room that makes boot logos and boot animations for in-dash Android radios."""

from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("keyturn")
except PackageNotFoundError:  # run from a checkout that was never installed
    __version__ = "0+checkout"
