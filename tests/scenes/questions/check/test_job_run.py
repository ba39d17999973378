"""What is told of a lens's range by the run that its states are checked in."""

from scenes.questions.check.job_run import Job, JobRun
from scenes.runtime.worker_pool import WorkerDied
from tests.scenes.check_made import plan


def test_a_range_that_costs_its_process_is_told_in_a_sentence(capsys):
    run = JobRun(job=Job(loaded=None, plans=(plan(),)), request=None, recorder=None)
    ((_, take),) = run.steps(between=True)
    take(WorkerDied(-9))
    assert run.between() == ()
    said = capsys.readouterr().err
    assert said.startswith('note: "20" is not judged between its states: ')
    assert "status -9" in said
