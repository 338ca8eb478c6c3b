"""``python -m probe``: the command line."""

import signal
import sys

_interruptible = signal.getsignal(signal.SIGINT) is signal.default_int_handler
if _interruptible:  # nothing needs unwinding while modules are loaded: end without a traceback
    signal.signal(signal.SIGINT, signal.SIG_DFL)

from probe.cli.main import main  # noqa: E402

if _interruptible:
    signal.signal(signal.SIGINT, signal.default_int_handler)

if __name__ == "__main__":
    sys.exit(main())
