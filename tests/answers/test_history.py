"""What `history` shows of corrections that come from several homes."""

import json

from tests.homes import Bench
from tests.support import event


def test_a_later_correction_and_one_of_nothing_known_are_kept_and_shown(bench: Bench) -> None:
    def charged(event_id: str, day: int, **fields: object) -> str:
        times = {"recorded_at": f"2026-04-0{day}"}
        return json.dumps(event("2026-04-01 09:00", "charged", item="A", id=event_id, **times, **fields))

    lines = [charged("late", 4, instead_of="one"), charged("soon", 3, instead_of="one"), charged("one", 2)]
    lines += [charged("astray", 5, instead_of="gone", via="mail 3f9c", in_reply_to="4p3es")]
    (bench.path / "other.jsonl").write_text("\n".join(lines))

    assert bench("intake", str(bench.path / "other.jsonl")).status == 0
    shown = bench("history", "A").out.splitlines()
    assert [line.partition("  [")[2] for line in shown] == [
        "taken back by soon]",
        "in place of one]",
        "in place of one]  [taken back by soon]",
        "in place of gone]  [there is no event gone]",
    ]
    told = json.loads(bench("history", "A", "--json").out)
    assert [(entry["id"], entry["taken_back_by"]) for entry in told] == [
        ("one", "soon"), ("soon", None), ("late", "soon"), ("astray", None),
    ]  # fmt: skip
    assert told[-1]["via"] == "mail 3f9c"
    assert told[-1]["in_reply_to"] == "4p3es"
