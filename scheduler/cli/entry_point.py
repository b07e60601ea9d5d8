"""Start the installed command; an interrupt at any time ends it with no traceback."""

import signal

signal.signal(signal.SIGINT, signal.SIG_DFL)  # while modules load, there is nothing to tidy up


def main() -> int:
    """Run the command of `sys.argv`; return its exit status, 130 if interrupted."""
    from scheduler.cli.main import main as run_command

    signal.signal(signal.SIGINT, signal.default_int_handler)  # from here on, what was begun is undone
    try:
        return run_command()
    except KeyboardInterrupt:
        return 130
    finally:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the work is over: an ending interpreter would only complain
