"""`shelfbell ready [JOB]`: can I fly, with which packs, for how long, and what comes first."""

from argparse import ArgumentParser, Namespace

from scheduler.answers.ready import asked_job, to_json, to_text
from scheduler.cli.common import asking, desk_or_fallback, print_answer, print_json
from scheduler.home.folder import Home
from scheduler.reminders.ready import next_job, ready_for


def add_arguments(parser: ArgumentParser, _name: str) -> None:
    """The options."""
    parser.add_argument("job", nargs="?", metavar="JOB", help="a booked job; the next one unless given")
    asking(parser)


def run(home: Home, args: Namespace) -> int:
    """Print the answer for a job, or for a flight now where none is booked."""
    with desk_or_fallback(home, args) as at:
        store = at.store()
        job = asked_job(store, args.job, at) if args.job else next_job(store, at.now)
        answers = ready_for(store, at.setup.rules, at.now, job)
        if args.json:
            print_json({"at": at.stamp(at.now), "job": job, "aircraft": [to_json(at, answer) for answer in answers]})
        else:
            print_answer(at, to_text(at, store, answers))
    return 0
