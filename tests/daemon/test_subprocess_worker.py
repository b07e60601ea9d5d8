"""Work in a process of its own: answered, watched, ended, and its faults told."""

import os
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from scheduler.daemon.faults import WorkerFailed, WorkerTimeout, fault_line
from scheduler.daemon.subprocess_worker import call_in_process
from scheduler.home import process_pool
from tests.daemon.worker_calls import WAITS
from tests.messages.servers import eventually


def work(name: str) -> str:
    """The name of a function of `worker_calls`, as `call_in_process` takes it."""
    return f"tests.daemon.worker_calls:{name}"


def gone(process: int) -> bool:
    """True when a process is no more."""
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return True
    return False


def test_the_answer_comes_from_another_process_with_how_far_it_came() -> None:
    told: list[tuple[int, int]] = []
    answer, process = call_in_process(work("double"), 21, WAITS, lambda done, of: told.append((done, of)))

    assert answer == 42
    assert process != os.getpid()
    assert gone(process)
    assert set(told) <= {(0, 0), (0, 3), (1, 3), (2, 3)}


def test_an_order_larger_than_a_pipe_holds_comes_back_whole() -> None:
    order = "מלא 🔋\n{[" * 20_000
    assert call_in_process(work("say"), order, WAITS) == order


def test_a_fault_is_told_in_one_line_and_its_traceback_where_asked_for(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(WorkerFailed) as failed:
        call_in_process(work("stumble"), None, WAITS)
    assert fault_line(failed.value) == "ValueError: no such pack"
    assert not capsys.readouterr().err

    monkeypatch.setenv("SHELFBELL_DEBUG", "1")
    with pytest.raises(WorkerFailed) as failed:
        call_in_process(work("stumble"), None, WAITS)
    fault_line(failed.value)
    assert "in stumble" in capsys.readouterr().err


def test_a_process_that_ends_without_an_answer_is_told_with_its_last_word() -> None:
    with pytest.raises(WorkerFailed, match="^its process ended with 7 and no answer: out of memory$"):
        call_in_process(work("vanish"), None, WAITS)


def test_a_silent_process_is_ended(tmp_path: Path) -> None:
    with pytest.raises(WorkerTimeout, match="^no end within 2 s$"):
        call_in_process(work("sleep"), str(tmp_path / "begun"), 2)
    assert gone(int((tmp_path / "begun").read_text()))


def test_a_process_is_ended_with_those_it_has_begun(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Enough(Exception):
        pass

    def begun() -> list[int]:
        return [int(text) for path in tmp_path.iterdir() if (text := path.read_text())]

    def enough(_done: int, _of: int) -> None:
        if len(begun()) >= min(2, process_pool.cores()):
            raise Enough

    with pytest.raises(Enough):
        call_in_process(work("share_out"), str(tmp_path), WAITS, enough)
    for process in begun():
        eventually(partial(gone, process))


def test_a_process_that_does_not_even_take_its_order_is_ended(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "sleeper").write_text(f"#!{sys.executable}\nimport time\ntime.sleep({WAITS})\n")
    (tmp_path / "sleeper").chmod(0o755)
    monkeypatch.setattr("sys.executable", str(tmp_path / "sleeper"))
    with pytest.raises(WorkerTimeout):
        call_in_process(work("say"), "more than a pipe holds" * 20_000, 1)


def test_an_answer_that_cannot_be_handed_over_is_a_fault() -> None:
    with pytest.raises(WorkerFailed, match="TypeError: Object of type set is not JSON serializable"):
        call_in_process(work("no_json"), None, WAITS)


def test_who_waits_for_a_process_can_end_it(tmp_path: Path) -> None:
    begun = tmp_path / "begun"

    def enough(_done: int, _of: int) -> None:
        if begun.exists() and begun.read_text():
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        call_in_process(work("sleep"), str(begun), WAITS, enough)
    assert gone(int(begun.read_text()))


def test_an_answer_counts_though_its_process_does_not_end() -> None:
    start = time.monotonic()
    assert call_in_process(work("linger"), None, WAITS) == "answered"
    assert time.monotonic() - start < WAITS / 2


ENDLESS = """
import gzip, http.server, resource, sys, threading
from scheduler.daemon.subprocess_work import send_in_process

BOMB = gzip.compress(bytes(2**29), 1)

class Server(http.server.BaseHTTPRequestHandler):
    def do_POST(self):
        self.rfile.read(int(self.headers["Content-Length"]))
        self.send_response(200)
        if sys.argv[1] == "bomb":
            self.send_header("Content-Encoding", "gzip")
            self.send_header("Content-Length", str(len(BOMB)))
        self.end_headers()
        try:
            self.wfile.write(BOMB if sys.argv[1] == "bomb" else b"")
            while sys.argv[1] == "endless":
                self.wfile.write(bytes(2**20))
        except OSError:
            pass
    def log_message(self, *_): pass

server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Server)
threading.Thread(target=server.serve_forever, daemon=True).start()
outcome = send_in_process(f"json://127.0.0.1:{server.server_port}/", "title", "body", 20.0)
print(outcome.result, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024)
"""


@pytest.mark.parametrize("manner", ["endless", "bomb"])
def test_a_server_that_answers_without_end_takes_no_more_than_its_share_of_memory(manner: str) -> None:
    command = [sys.executable, "-c", ENDLESS, manner]
    done = subprocess.run(command, capture_output=True, text=True, timeout=60, cwd=Path(__file__).parents[2])

    result, megabytes = done.stdout.split()
    assert int(megabytes) < 256
    assert result in ("temporary", "sent")
