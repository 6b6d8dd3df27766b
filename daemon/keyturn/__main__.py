"""`python -m keyturn`, and the console command.

The commands are imported only when one is run: each worker imports the main program's own file too
(multiprocessing, "Safe importing of main module"), and needs none of them.
"""

import gc
import sys

from keyturn import __version__


def main() -> None:
    if sys.argv[1:] == ["--version"]:  # what installers and scripts ask; it needs nothing of the program
        sys.stdout.write(f"keyturn {__version__}\n")
        return
    gc.disable()  # 0.1 s of a command's imports, which leave no rubbish; `app` enables it before a command begins
    from keyturn.commands.app import main as run
    from keyturn.commands.quick_end import end

    try:
        run()
    except SystemExit as done:
        if isinstance(done.code, int):
            end(done.code)
        raise


if __name__ == "__main__":
    main()
