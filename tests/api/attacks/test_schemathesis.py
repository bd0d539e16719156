"""Everything that the OpenAPI document allows or forbids, asked of the real daemon; the short form."""

from __future__ import annotations

import tomllib

from tests.api.attacks.schemathesis_run import RULES, run
from tests.api.web.test_openapi import OPERATIONS


def test_the_daemon_does_what_its_description_says(tmp_path):
    """Every operation, in every phase and by every check of schemathesis, answers as it is described."""
    outcome = run(tmp_path, seed=2027, examples=3)
    assert outcome.code == 0, outcome.report
    for phase in ("Examples", "Coverage", "Fuzzing", "Stateful"):
        assert f"✅ {phase}" in outcome.report, outcome.report
    count = len(OPERATIONS)
    assert f"Selected: {count}/{count}\n  Tested: {count}\n" in outcome.report, outcome.report
    assert outcome.cases > 1000
    assert outcome.daemon_code == 0
    assert "Traceback" not in outcome.log
    assert " ERROR " not in outcome.log


def test_no_check_is_left_out():
    """No check is switched off; where the description cannot say all, more statuses are expected."""
    rules = tomllib.loads(RULES.read_text(encoding="utf-8"))
    assert "checks" not in rules
    assert "phases" not in rules
    for each in rules["operations"]:
        assert set(each) == {"include-operation-id", "checks"}
        assert set(each["checks"]) == {"positive_data_acceptance"}
        assert set(each["include-operation-id"]) <= set(OPERATIONS.values())
        assert set(each["checks"]["positive_data_acceptance"]) == {"expected-statuses"}
