"""Jobs shared out to threads."""

import os
import signal
import time

import pytest

from raytrace.coverage.engine import share_out


def test_every_job_is_done_once():
    done = []
    share_out(lambda _, job: done.append(job), range(50), int, threads=3)
    assert sorted(done) == list(range(50))


@pytest.fixture
def ctrl_c_heard():
    """A shell that starts tests in the background has them ignore Ctrl-C."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("ctrl_c_heard")
def test_who_is_told_to_stop_waits_for_no_more_than_the_jobs_in_hand():
    done = []

    def work(_, job):
        if job == 2:
            os.kill(os.getpid(), signal.SIGINT)
        time.sleep(0.02)
        done.append(job)

    with pytest.raises(KeyboardInterrupt):
        share_out(work, range(200), int, threads=2)
    assert len(done) < 100


def test_a_job_that_fails_ends_the_others_and_is_told():
    done = []

    def work(_, job):
        if job == 0:
            raise ValueError("no light")
        time.sleep(0.01)
        done.append(job)

    with pytest.raises(ValueError, match="no light"):
        share_out(work, range(200), int, threads=2)
    assert len(done) < 100
