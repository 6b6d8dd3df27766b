"""`python -m keyturn`, and the console command.

The commands are imported only when one is run: each worker imports the main program's own file too
(multiprocessing, "Safe importing of main module"), and needs none of them.
"""


def main() -> None:
    from keyturn.commands.app import main as run

    run()


if __name__ == "__main__":
    main()
