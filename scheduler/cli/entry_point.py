"""Start the installed command; an interrupt at any time ends it with no traceback."""

# Not the module `signal`, which loads others before it can act.
from _signal import SIG_DFL, SIG_IGN, SIGINT, default_int_handler, signal  # type: ignore[import-not-found]

signal(SIGINT, SIG_DFL)  # while modules load, there is nothing to tidy up


def main() -> int:
    """Run the command of `sys.argv`; return its exit status, 130 if interrupted."""
    from scheduler.cli.main import main as run_command

    signal(SIGINT, default_int_handler)  # from here on, what was begun is undone
    try:
        return run_command()
    except KeyboardInterrupt:
        return 130
    finally:
        signal(SIGINT, SIG_IGN)  # the work is over: an ending interpreter would only complain
