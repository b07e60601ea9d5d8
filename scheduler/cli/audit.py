"""`shelfbell audit --from TIME --to TIME`: the season audit, as text or a file."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.rehearse import typed_interval
from scheduler.base.findings import Refused
from scheduler.cli.common import desk
from scheduler.cli.documents import add_formats, show
from scheduler.cli.progress import progress
from scheduler.home.folder import Home
from scheduler.reports.audit import audit
from scheduler.reports.season_audit import season_of


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """Declare the options."""
    parser.add_argument("--from", dest="start", metavar="TIME", required=True)
    parser.add_argument("--to", dest="end", metavar="TIME", required=True)
    add_formats(parser)


def run(home: Home, args: Namespace) -> int:
    """Print the document, or write it."""
    at = desk(home)
    start, end = typed_interval(at, args.start, args.end)
    if start >= at.now:
        raise Refused.because(f"--from {args.start} lies ahead: an audit looks back (`shelfbell outlook` looks ahead)")
    with progress("Items looked at") as tell:
        document = audit(season_of(at, start, end, tell))
    print(show(document, args))
    return 0
