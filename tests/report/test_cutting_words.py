from __future__ import annotations

from dataclasses import replace

import jsonschema

from millprep.model.program import Cutting
from millprep.report.report_model import Report, check_row
from millprep.report.rules_words import HEADS, cutter_rows, cutting_lines
from millprep.report.set_rows import CuttingRow
from millprep.report.sheet import sheet
from tests.helpers.changed_set import running
from tests.helpers.invented_set import invented

VEE = Cutting("", "vee30", 0.16, 6.03, 0.025, 0.00833333, (0.0048, 0.05), 0.12)
DRILL = Cutting("", "drill-1.1", 1.1, 34.6, None, 0.02, (0.0055, 0.066), 2.2, 3)


def test_every_program_that_cuts_tells_how_in_both_reports() -> None:
    cut_set = invented(1)
    vee = replace(VEE, file=cut_set.programs[0].file)
    first, *others = cut_set.programs
    result = running(cut_set, (replace(first, cutting=vee), *others))
    row = Report.of(result).row()
    jsonschema.Draft202012Validator(Report.model_json_schema()).validate(row)
    one, two, *_ = row["passes"][0]["programs"]
    assert one["cutting"] == CuttingRow.of(vee).row()
    assert one["cutting"]["plunge_load"] == 0.00833
    assert two["cutting"] is None
    assert check_row(result)["programs"] == [
        {"file": vee.file, "cutter": "vee30", "cutting": CuttingRow.of(vee).row()}
    ]


def test_the_sheet_shows_edge_and_chip_of_every_cutter() -> None:
    cut_set = invented(1)
    first, second, third = cut_set.programs
    cutting = (replace(first, cutting=VEE), replace(second, cutting=DRILL), third)
    text = sheet(running(cut_set, cutting))
    assert '<td class="n">6</td><td class="n">25</td>' in text
    assert '<td class="n">34.6</td><td class="n">20 per rev</td>' in text
    # the mill's figures are not known here
    assert '<td class="n">250 / 60</td><td class="n"></td><td class="n"></td>' in text


def test_a_person_reads_one_row_a_cutter() -> None:
    rows = cutter_rows([DRILL, VEE, replace(VEE, step=0.05)])
    assert rows["vee30"] == ("6", "25", "4.8 to 50", "0.12")
    assert rows["drill-1.1"] == ("34.6", "20 per rev", "5.5 to 66", "2.2, 3 steps")
    assert {len(row) for row in rows.values()} == {len(HEADS)}
    head, heads, *lines = cutting_lines([DRILL, VEE])
    assert head.startswith("cutters: ")
    assert heads.split() == " ".join(HEADS).split()
    assert [line.split()[0] for line in lines] == ["drill-1.1", "vee30"]
    assert cutting_lines([]) == []
