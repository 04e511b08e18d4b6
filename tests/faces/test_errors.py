"""Errors cross from process to process as they are."""

import pickle

from rushlight.errors import Finding, RushlightError


def test_an_error_of_another_process_says_the_same():
    thrown = RushlightError(
        [
            Finding("error", "slug", "rig.toml: width", "0 m", "is not above 0", "give a width"),
            Finding("warning", "other", "rig.toml: rate", "", "is unusual", ""),
        ]
    )
    caught = pickle.loads(pickle.dumps(thrown))
    assert type(caught) is RushlightError
    assert (str(caught), caught.findings) == (str(thrown), thrown.findings)
