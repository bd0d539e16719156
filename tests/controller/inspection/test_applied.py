"""Proposals written into the site file: read back, they are what was proposed, and well."""

from __future__ import annotations

import re

import pytest

from config.errors import Severity
from config.file.cable_editor import write_changes
from config.file.loader import parse_site
from controller.inspection.report import report_site
from tests.controller.inspection.failing_sites import failing_texts


def volts_of(inspection):
    return sorted(lamp.volts for one in inspection.solved for lamp in one.lit.lamps)


def test_every_proposal_of_60_failing_gardens_reads_back_as_well(tmp_path):
    """Written into its file, each proposal is solved again without an error and with its volts."""
    path, written = tmp_path / "site.toml", 0
    for text in failing_texts(2027, 60):
        site = parse_site(text, "site.toml").site
        [report] = report_site(site)
        for proposal in report.proposals:
            path.write_text(text)
            [after] = report_site(write_changes(path, site, proposal.changes).site)
            assert after.level is not Severity.ERROR or proposal.remains
            # Lengths are written to a hundredth of a foot or metre.
            assert volts_of(after.inspection) == pytest.approx(volts_of(proposal.inspection), abs=0.02)
            new = path.read_text()
            assert all(comment in new for comment in re.findall("#.*", text))
            written += 1
    assert written > 100
