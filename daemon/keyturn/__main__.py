"""`python -m keyturn`."""

from keyturn.cli import main

if __name__ == "__main__":
    main()
