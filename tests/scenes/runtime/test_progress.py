"""What people at a terminal are told while they wait, and what logs are spared."""

import io

from scenes.runtime.progress import tell


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_a_sentence_is_for_terminals_alone():
    for stream, said in ((Terminal(), "wait\n"), (io.StringIO(), "")):
        tell("wait", stream)
        assert stream.getvalue() == said
