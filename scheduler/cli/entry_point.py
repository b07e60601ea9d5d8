"""Where the installed command begins: an interrupt ends it without a traceback, whenever it comes."""

import signal

signal.signal(signal.SIGINT, signal.SIG_DFL)  # while modules load, there is nothing to tidy up


def main() -> int:
    """Run the command of `sys.argv` and return its exit status; 130 where it was interrupted."""
    from scheduler.cli.main import main as run_command

    signal.signal(signal.SIGINT, signal.default_int_handler)  # from here on, what was begun is undone
    try:
        return run_command()
    except KeyboardInterrupt:
        return 130
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the work is over: an ending interpreter would only complain
