"""The garbage collector while a run goes on: looking through all that was loaded costs frames."""

import gc

from rushlight.jobs.live_loop import in_a_hurry


def test_what_was_loaded_is_spared_while_a_run_goes_on_and_no_longer():
    kept = [[] for _ in range(1000)]
    with in_a_hurry():
        assert gc.get_freeze_count() >= len(kept)
    assert gc.get_freeze_count() == 0
