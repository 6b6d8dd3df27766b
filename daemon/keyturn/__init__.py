"""Keyturn: the back room that makes boot logos and boot animations for in-dash Android radios."""

import os

__version__ = "0.1.0"
"""Written here, and read from here by the build: asking the installation costs every process 40 ms."""

# Before numpy is imported anywhere. Each worker is one of many already, its limit on memory counts idle threads' stacks
# too, and a program that has threads cannot fork safely.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# Before pydantic is. Keyturn uses none of its plugins, and looking for them reads a file of every package installed.
os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
