"""The command line: ``python -m forgeprops [estimate|compare|window|choose|accept|sheet] --steel 4130 --preheat-c 930``.

Exit codes: 0 done, 1 the output cannot be written, 2 input that cannot be used, 130 stopped by the user.
"""

import contextlib
import os
import sys

from .base.errors import InputError
from .command_line.commands import run


def main(argv: list[str] | None = None) -> int:
    """Run the command line; returns the exit code (see the head of this file)."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(encoding="utf-8", errors="replace")
    try:
        try:
            code = run(list(sys.argv[1:] if argv is None else argv))
        except SystemExit as done:  # --help, --version
            code = done.code or 0
        if sys.stdout is None:
            raise OSError("standard output is closed")
        sys.stdout.flush()
        return code
    except InputError as error:
        return _end(str(error), 2)
    except KeyboardInterrupt:
        return _end("stopped; what was finished by then is printed and files are kept.", 130)
    except BrokenPipeError:  # the reader (head, less) has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        with contextlib.suppress(OSError, AttributeError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return _end(f"the output cannot be written: {error.strerror or error}.", 1)


def _end(words: str, code: int) -> int:
    if sys.stderr is not None:
        print(f"forgeprops: {words}", file=sys.stderr)
    return code


if __name__ == "__main__":
    sys.exit(main())
