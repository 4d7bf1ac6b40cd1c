"""Long work: progress counts, Stop stops, a fault is told and never swallowed."""

import threading

import pytest

from forgeprops.base.errors import InputError
from forgeprops.show.controls.progress import Work


def test_all_steps_are_done_and_counted():
    work, seen = Work(), []
    work.start([1, 2, 3], seen.append, "heads")
    work.join()
    assert seen == [1, 2, 3] and work.bar.value == 3 and "3 of 3 heads" in work.said.value
    assert work.stop_button.disabled


def test_stop_ends_after_the_step_under_way():
    work, seen, go, begun = Work(), [], threading.Event(), threading.Event()

    def step(item):
        begun.set()
        go.wait(5)
        seen.append(item)

    work.start(range(100), step, "heads")
    begun.wait(5)
    work.stop_button.click()
    go.set()
    work.join()
    assert seen == [0] and "stopped after 1 of 100" in work.said.value


@pytest.mark.parametrize(
    "error", [InputError("flux is -1; allowed is 0 or more."), ZeroDivisionError("division")]
)
def test_fault_is_told_and_raised(error):
    def step(_):
        raise error

    work = Work()
    work.start([1], step, "heads")
    with pytest.raises(type(error)):
        work.join()
    assert str(error) in work.said.value


def test_new_start_stops_the_old_run():
    work, first, go = Work(), [], threading.Event()

    def slow(item):
        go.wait(5)
        first.append(item)

    work.start(range(1000), slow, "heads")
    threading.Timer(0.2, go.set).start()
    second = []
    work.start([7], second.append, "heads")
    work.join()
    assert second == [7] and len(first) < 1000
