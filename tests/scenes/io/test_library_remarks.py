"""What libraries remark of files that are read by several threads at once stays off the terminal, also of those read later."""

import logging
import threading

from scenes.io.library_remarks import remarks_of

LOG = logging.getLogger("a library of pictures")


def test_remarks_are_kept_for_the_thread_that_reads_and_from_all_others(caplog):
    inside, done = threading.Event(), threading.Event()

    def reads():
        with remarks_of(LOG.name) as said:
            inside.set()
            done.wait(10)
            LOG.warning("of another file")
        told.append(said)

    told = []
    other = threading.Thread(target=reads)
    with remarks_of(LOG.name) as said:
        other.start()
        inside.wait(10)
        LOG.warning("of this file")
    LOG.warning("while the other still reads")
    done.set()
    other.join(10)
    assert (said, told) == (["of this file"], [["of another file"]])
    assert not caplog.records
    LOG.warning("afterwards")
    assert [record.getMessage() for record in caplog.records] == ["afterwards"]
