"""What people at a terminal are told while they wait, and what logs are spared."""

import io

from scenes.runtime import progress as progress_module
from scenes.runtime.progress import progress, tell


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_sentence_is_for_terminals_alone():
    for stream, said in ((Terminal(), "wait\n"), (io.StringIO(), "")):
        tell("wait", stream)
        assert stream.getvalue() == said


def test_a_log_gets_a_line_now_and_then_and_no_bar(monkeypatch):
    now = [0.0]
    monkeypatch.setattr(progress_module.time, "monotonic", lambda: now[0])
    log = io.StringIO()
    with progress(400, "two lenses\x1b[2J", log) as tick:
        for step in range(8):  # 50 steps every 13 s
            tick(50, f"state {step}")
            now[0] += 13.0
    assert log.getvalue().splitlines() == [  # 39 s for 200 of 400 steps leave 39 s; 78 s for 350 leave 78 * 50 / 350 s
        "two lenses\\x1b[2J: 50 % done, about 39 s left (state 3)",
        "two lenses\\x1b[2J: 87 % done, about 11 s left (state 6)",
    ]


def test_short_work_leaves_logs_empty():
    log = io.StringIO()
    with progress(2, "one lens", log) as tick:
        tick(1)
        tick(1)
    assert log.getvalue() == ""
