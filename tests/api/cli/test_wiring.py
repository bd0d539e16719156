"""The verb ``wiring``: its JSON against the reference, its contract, its exit codes, its words, placing."""

from __future__ import annotations

import json
import re

import pytest

from api.render.wiring.model import PlacementResponse, WiringResponse
from config.file.loader import example_path
from tests.api.command import ROOT, call, call_json
from tests.controller.networks import read_reference
from tests.site_of_wiring import LAMPS, garden, line, piece, reference_site

REFERENCE = read_reference("wiring.json")
EXAMPLES = ("one-zone", "two-zones", "full-property", "polar")


def wiring_of(folder, text, *args):
    """The JSON of a site's wiring, whatever the answer."""
    path = folder / "site.toml"
    path.write_text(text, encoding="utf-8")
    result = call("wiring", path, "--json", *args)
    assert not result.stderr, result.stderr
    return result.exit_code, json.loads(result.stdout)


@pytest.mark.parametrize("lamp", list(LAMPS))
@pytest.mark.parametrize("case", REFERENCE["cases"], ids=lambda case: case["id"])
def test_reference_networks_as_site_files(tmp_path, case, lamp):
    """W1 to W6 under four kinds of lamp, as a person writes them, agree with ngspice within 1 mV and 1 mW."""
    expected = case["same_network_other_load_models"][lamp]
    _, answer = wiring_of(tmp_path, reference_site(case, lamp))
    [circuit] = answer["transformers"][0]["circuits"]
    volts = {cable["to"]: cable["volts"] for cable in circuit["cables"]}
    for node, reference_v in expected["ngspice_pair_voltage"].items():
        assert volts[node] == pytest.approx(reference_v, abs=1e-3)
    lights = {light["node"]: light["volts"] for light in circuit["lights"]}
    assert min(lights, key=lights.get) == expected["worst_lamp"]
    assert circuit["amperes"] == pytest.approx(expected["source_current_ngspice_a"], abs=1e-4)
    assert circuit["cable_loss_w"] == pytest.approx(expected["cable_loss_w"], abs=1e-3)


@pytest.mark.parametrize("case", REFERENCE["no_solution"], ids=lambda case: f"{case['source_v']:g} V")
def test_loads_without_a_solution_are_refused(tmp_path, case):
    """120 W of regulated LED behind 100 ft of 12 AWG: the high volts, or a refusal and exit code 1."""
    fixtures = f'kind = "spot"\ncount = 1\nwatts = {case["asked_w"]}\nnode = "end"'
    text = garden(tap=case["source_v"], cables=piece("boathouse", "end", "100 ft"), fixtures=fixtures)
    code, answer = wiring_of(tmp_path, text)
    [circuit] = answer["transformers"][0]["circuits"]
    [light] = circuit["lights"]
    assert circuit["solved"] == case["solvable"]
    if case["solvable"]:
        assert light["volts"] == pytest.approx(case["lamp_v"], abs=1e-3)
    else:
        assert code == 1
        assert answer["level"] == "error"
        assert light["volts"] is None
        most_w = case["max_power_that_can_be_delivered_w"]
        assert f"deliver {most_w:.4g} W at most" in circuit["why_not"]


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_json_of_every_example_keeps_its_contract(name):
    """Every member is one of the contract and of its kind; no example has an error, and no file warns."""
    answer = call_json("wiring", example_path(name))
    WiringResponse.model_validate_json(json.dumps(answer), strict=True)
    assert answer["level"] in ("ok", "warning")
    problems = call_json("check", example_path(name))["problems"]
    assert not [each for each in problems if each["level"] == "warning"]
    for transformer in answer["transformers"]:
        for finding in transformer["findings"]:
            assert finding["words"]
            assert finding["source"]
            assert (finding["remedy"] is None) == (finding["level"] == "ok")


def test_one_zone_has_a_load_and_says_what_it_cannot_know():
    """The example without cables: 36 W, no volts, and the reason."""
    [transformer] = call_json("wiring", example_path("one-zone"))["transformers"]
    assert transformer["load"]["va"] == pytest.approx(36.0)
    assert transformer["load"]["left_va"] == pytest.approx(12.0)
    assert [finding["topic"] for finding in transformer["findings"]] == ["load of the transformer"]
    assert all(light["volts"] is None for light in transformer["circuits"][0]["lights"])
    assert "transformer “shed” has no cables in the file" in transformer["unknown"][0]


def test_the_full_property_has_cables_for_both_transformers():
    """Both trees of the example are solved, and each light gets volts but those whose cable is not known."""
    answer = call_json("wiring", example_path("full-property"))
    assert [each["id"] for each in answer["transformers"]] == ["house", "barn"]
    for transformer in answer["transformers"]:
        for circuit in transformer["circuits"]:
            assert circuit["solved"]
            for light in circuit["lights"]:
                assert (light["volts"] is None) == (light["zone"] == "pergola")
    [asked] = call_json("wiring", example_path("full-property"), "--transformer", "barn")["transformers"]
    assert asked == answer["transformers"][1]


def test_a_change_of_tap_changes_the_numbers(tmp_path):
    """One volt more at the transformer is about one volt more at every resistive lamp."""
    fixtures = 'kind = "path"\ncount = 6\nwatts = 12\ndriver = "resistor"'
    volts = {}
    for tap in (12, 13):
        _, answer = wiring_of(tmp_path, garden(tap=tap, cables=line(), fixtures=fixtures))
        lights = answer["transformers"][0]["circuits"][0]["lights"]
        volts[tap] = [light["volts"] for light in lights]
    # A network of resistances is linear: the volts grow with the tap (Ohm's law).
    assert volts[13] == pytest.approx([each * 13 / 12 for each in volts[12]], rel=1e-6)


FILAMENT = 'kind = "path"\ncount = 10\nwatts = 12\nlamp = "filament"'
TAPS = "taps = [12, 13, 14, 15]"
LEDS = 'kind = "path"\ncount = 6\nwatts = 4.5\nvolts = [9, 15]'


def test_an_error_is_exit_code_1_and_gets_advice(tmp_path):
    """The rule of thumb of 120 W and 100 ft has errors; each proposal names its worst lamp, now in range."""
    code, answer = wiring_of(tmp_path, garden(cables=line("100 ft"), more=TAPS, fixtures=FILAMENT))
    assert code == 1
    [transformer] = answer["transformers"]
    # The table of the rule of thumb in the reference: 12 V, ten lamps evenly, filament, 75 °C.
    assert transformer["circuits"][0]["lights"][-1]["volts"] == pytest.approx(10.00, abs=0.005)
    assert [rule["rule_kept"] for rule in transformer["rule_of_thumb"]] == [True]
    assert [rule["every_lamp_in_range"] for rule in transformer["rule_of_thumb"]] == [False]
    errors = [each for each in transformer["findings"] if each["level"] == "error"]
    assert {each["topic"] for each in errors} == {"fewest volts at a lamp"}
    assert all(each["value"] < each["limit"] == 10.8 for each in errors)
    assert transformer["advice"]
    for proposal in transformer["advice"]:
        assert 10.8 <= proposal["worst"]["volts"] <= 12.6
        assert proposal["words"]


def test_people_read_the_same_numbers(tmp_path):
    """The tables carry load, volts, findings with source and remedy, advice, and the rule of thumb."""
    path = tmp_path / "site.toml"
    path.write_text(garden(cables=line("100 ft"), more=TAPS, fixtures=FILAMENT), encoding="utf-8")
    result = call("wiring", path)
    assert result.exit_code == 1
    text = " ".join(result.stdout.split())
    for words in (
        "wiring: 1 error, 2 warnings.",
        "Transformer boathouse, 200 VA, 12 V tap (others: 13, 14, 15 V)",
        "jetty 10 path, 12 W filament 10.00",
        "too low",
        "lamps at 7 places get too few volts; the worst: “path” at “jetty 10” gets 10.00 V",
        "to fix: use a higher tap",
        "source: 0.90 to 1.05 of its rated volts, common practice",
        "Ways to fix the errors, each computed",
        "rule of thumb (12 AWG or thicker, up to 100 ft, up to 80 % of the rating): kept",
    ):
        assert words in text, words
    # Errors stand before warnings, and both before the tables.
    assert text.index("error lamps") < text.index("warning the drop") < text.index("Zone Lights Rated")
    # The cautions stand on the sheet and in the README, not in every answer.
    assert "electrician" not in result.stdout
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for words in ("licensed electrician", "Local code takes precedence", "no protective device"):
        assert words in readme


FIVE_PERCENT = "Some cables drop more than the 5 % that IEC 60364-7-715 recommends."
THREE_PERCENT = "Some cables drop more than the 3 % that the NEC recommends."
DIFFER = "What was measured differs from what was computed."


@pytest.mark.parametrize(
    ("text", "answer"),
    [
        # 27 W over 20 ft: 0.9 %.
        (garden(cables=line("20 ft"), fixtures=LEDS), "No errors, no warnings."),
        # Six segments of 13.3 ft at 1.98 ohm per 1000 ft of one conductor; 4.5 W at 11.65 V are 0.386 A:
        # 2 x 0.00198 x 13.33 x 0.386 x (6 + 5 + 4 + 3 + 2 + 1) V = 0.428 V of 12 V, by hand 3.6 %.
        (garden(cables=line("80 ft"), fixtures=LEDS), f"No errors, 1 warning. {THREE_PERCENT}"),
        # The same over 150 ft passes the 5 % of IEC 60364-7-715 too.
        (garden(cables=line("150 ft"), fixtures=LEDS), f"No errors, 1 warning. {FIVE_PERCENT}"),
        # 2 x 90 W pass the 80 % line of 200 VA only: nothing about a drop.
        (garden(fixtures='kind = "path"\ncount = 2\nwatts = 90'), "No errors, 1 warning."),
        (garden(cables=line("100 ft"), more=TAPS, fixtures=FILAMENT), "1 error, 2 warnings."),
        # 27 W of lamps that take 13 W, and a last light that gets nothing.
        (
            garden(cables=line("20 ft"), fixtures=LEDS, zone="measured_watts = 13"),
            f"No errors, no warnings. {DIFFER}",
        ),
        (
            garden(cables=line("20 ft"), fixtures=f"{LEDS}\nmeasured_volts = 0.0"),
            f"1 error, no warnings. {DIFFER}",
        ),
    ],
)
def test_the_first_line_counts_errors_and_warnings_and_names_a_recommendation(tmp_path, text, answer):
    """A drop beyond a recommendation is called what it is, and is a warning below."""
    path = tmp_path / "site.toml"
    path.write_text(text, encoding="utf-8")
    out = call("wiring", path).stdout
    assert " ".join(out.split("\n\n", 1)[0].split()) == f"Tern Cottage, wiring: {answer}"
    sheet = tmp_path / "sheet.html"
    call("wiring", path, "--sheet", sheet)
    [said] = re.findall(r"<p><strong>(.*?)</strong></p>", sheet.read_text(encoding="utf-8"))[:1]
    assert said.replace("\u00a0", " ") == answer
    if "Some cables" in answer:
        assert re.search(r"warning +the drop to .*\(limit 3 %\)", out)


def test_a_reading_outside_its_range_is_an_error_everywhere(tmp_path):
    """6.0 V at a lamp of 10 to 15 V: exit code 1, level error, one line for six such lamps."""
    lamps = 'kind = "path"\ncount = 6\nwatts = 4.5\nvolts = [10, 15]\nmeasured_volts = '
    text = garden(cables=line("20 ft"), fixtures=f"{lamps}[6.0, 6.1, 6.2, 6.3, 6.4, 6.5]")
    code, answer = wiring_of(tmp_path, text)
    assert code == 1
    [transformer] = answer["transformers"]
    assert answer["level"] == transformer["level"] == "error"
    errors = [each for each in transformer["findings"] if each["level"] == "error"]
    assert [each["value"] for each in errors] == [6.0, 6.1, 6.2, 6.3, 6.4, 6.5]
    assert all((each["topic"], each["limit"]) == ("measured volts at a lamp", 10.0) for each in errors)
    result = call("wiring", tmp_path / "site.toml")
    assert result.exit_code == 1
    said = " ".join(result.stdout.split())
    assert "wiring: 1 error, no warnings." in said
    assert (
        "at 6 places other volts were measured than the lamps are made for; the worst: 6.00 V was measured"
        " at “path” at “jetty 1”; it is made for 10 to 15 V" in said
    )
    assert said.count("measured too low") == 6
    [rule] = transformer["rule_of_thumb"]
    assert not rule["every_lamp_in_range"]
    assert "every lamp is inside its range, but not as measured" in rule["words"]
    assert "6 readings are too low; the worst, “jetty 1”: 6.00 V, computed" in said


@pytest.mark.parametrize(
    ("tap", "level"),
    # Beyond 25 % of 12 V is an error: below 9 V and above 15 V; 0.90 to 1.05 of 12 V is assumed to be right.
    [(12, "ok"), (13, "warning"), (24, "error"), (15.5, "error")],
)
def test_leds_without_a_range_are_never_said_to_be_inside_it_and_not(tmp_path, tap, level):
    """24 V at a 12 V LED is an error, and every sentence says the same of it."""
    lamps = 'kind = "path"\ncount = 6\nwatts = 4.5'
    code, answer = wiring_of(tmp_path, garden(tap=tap, cables=line("20 ft"), fixtures=lamps))
    [transformer] = answer["transformers"]
    about_lamps = ("fewest volts at a lamp", "most volts at a lamp")
    found = {each["level"] for each in transformer["findings"] if each["topic"] in about_lamps}
    assert code == (1 if level == "error" else 0)
    assert found - {"ok"} == {level} - {"ok"}
    [rule] = transformer["rule_of_thumb"]
    assert rule["every_lamp_in_range"] == (level == "ok")
    assert ("not every lamp is inside its range" in rule["words"]) == (level != "ok")
    out = call("wiring", tmp_path / "site.toml").stdout
    assert out.count("too high") == (0 if level == "ok" else 6)
    assert any("only beyond 0.75 to 1.25" in each for each in transformer["unknown"])


@pytest.mark.parametrize(("tap", "fixed"), [(24, "errors"), (14, "warnings")])
def test_leds_without_a_range_get_advice(tmp_path, tap, fixed):
    """Whether it is an error or a warning that they get 24 or 14 V, the tap of 12 V is proposed."""
    lamps = 'kind = "path"\ncount = 6\nwatts = 4.5'
    text = garden(tap=tap, cables=line("20 ft"), more=f"taps = [12, {tap}]", fixtures=lamps)
    _, answer = wiring_of(tmp_path, text)
    [transformer] = answer["transformers"]
    assert f"use the 12 V tap instead of {tap} V" in transformer["advice"][0]["words"]
    assert f"Ways to fix the {fixed}, each computed" in call("wiring", tmp_path / "site.toml").stdout


def test_what_is_in_order_is_counted_and_listed_only_when_asked_for():
    """Each check that is ok is one line with --all, and a number without."""
    path = example_path("full-property")
    short, full = call("wiring", path).stdout, call("wiring", path, "--all").stdout
    counted = sum(int(number) for number in re.findall(r"^ok +(\d+) checks; list them", short, re.MULTILINE))
    assert counted == len(re.findall(r"^ok +\S", full, re.MULTILINE)) > 20
    assert "“house” supplies 13 V" in full
    assert "supplies" not in short


@pytest.mark.parametrize("columns", [100, 60])
@pytest.mark.parametrize("name", EXAMPLES)
def test_no_line_is_wider_than_the_terminal(monkeypatch, name, columns):
    """On a terminal of 100 columns tables fit, and on one of 60 each row is a block of lines."""
    monkeypatch.setenv("COLUMNS", str(columns))
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("NO_COLOR", "1")
    out = re.sub(r"\x1b\[[0-9;]*m", "", call("wiring", example_path(name), "--all").stdout)
    assert max(map(len, out.splitlines())) <= columns
    if name == "full-property":
        assert ("Max. V 13.40" in out) == (columns == 60)


def test_the_sheet_is_written_where_it_was_asked_for(tmp_path):
    """--sheet writes a page, and says where."""
    sheet = tmp_path / "sheet.html"
    result = call("wiring", example_path("two-zones"), "--sheet", sheet)
    assert result.exit_code == 0
    assert f"The sheet to print is {sheet}." in result.stdout
    assert sheet.read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def test_a_site_without_transformers_says_so(tmp_path):
    """Nothing to compute is no fault."""
    text = (
        '[site]\nname = "Tern Cottage"\nlatitude = 51.5\nlongitude = -0.1\ntime_zone = "Europe/London"\n'
        '[[zones]]\nid = "jetty"\npin = 17\nprogram = []\n'
    )
    code, answer = wiring_of(tmp_path, text)
    assert code == 0
    assert answer["transformers"] == []
    assert "no [[transformers]] table" in answer["unknown"][0]
    path = tmp_path / "site.toml"
    assert "no [[transformers]] table" in call("wiring", path).stdout
    assert call("wiring", path, "--sheet", tmp_path / "sheet.html").exit_code == 0


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ([], "Missing argument 'SITE.toml'"),
        (["{site}", "--transformer", "barn"], "no transformer is called “barn”; this site has boathouse"),
        (["{site}", "--placing", "tree 7 ft"], "--placing needs no site file"),
        (["{site}", "--candela", "400"], "--candela goes with --placing"),
        (["{site}", "--side", "one"], "--side goes with --placing"),
        (["--placing", "house 7 ft"], "“house 7 ft” is not an object that lights can be placed at"),
        (["--placing", "tree 7"], "“7” is not a length"),
        (["--placing", "wall 7 ft"], "a wall has a height and a length"),
        (["--placing", "path 7 ft", "--out", "2 ft"], "out is for what is lit from some distance"),
        (["--placing", "tree 7 ft", "--spacing", "2 ft"], "spacing and side are for a path, not for a tree"),
        (["--placing", "tree 7 ft", "--lux", "9", "--candela", "9"], "lux and candela are both given"),
        (["--placing", "path 2999 m", "--spacing", "0.000001 m"], "lights are more than 500"),
        (["--placing", "wall 2 m by 2999 m"], "lights are more than 500"),
        (["--placing", "shrub 1 m by 2999 m", "--out", "0.000001 m"], "lights are more than 500"),
        (["--placing", "tree 7 ft", "--candela", "-1"], "candela = -1"),
        (["{site}", "--sheet", "/nowhere/at/all.html"], "No such file or directory"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_one_line(tmp_path, args, words):
    """A wrong request is one line on standard error, and exit code 2."""
    path = tmp_path / "site.toml"
    path.write_text(garden(cables=line()), encoding="utf-8")
    result = call("wiring", *(arg.format(site=path) for arg in args))
    assert result.exit_code == 2
    assert result.stdout == ""
    assert words in result.stderr
    assert len(result.stderr.splitlines()) == 1


def test_problems_of_the_file_are_listed_line_by_line(tmp_path):
    """Problems of the cables come like all others."""
    path = tmp_path / "site.toml"
    path.write_text(garden(cables=line("80 paces") + piece("nowhere", "end")), encoding="utf-8")
    result = call("wiring", path)
    assert result.exit_code == 2
    assert [each.split(": ")[1].split(" = ")[0] for each in result.stderr.splitlines()] == [
        "line “jetty”, length",
        "cable to “end”, from",
    ]


@pytest.mark.parametrize(
    ("text", "lights", "out_m"),
    [
        ("tree 7 ft by 5 ft", 1, 7 * 2 / 6.5 * 0.3048),
        ("Tree 2.1 m", 1, 2.1 * 2 / 6.5),
        ("trees 30 ft by 28 ft", 3, 30 * 2 / 6.5 * 0.3048),
        ("path 40 ft", 5, 0.3048),
        ("tall thing 2 ft by 1 ft", 1, 2 * 0.3048),
    ],
)
def test_lights_are_placed_by_common_practice_and_marked_as_that(text, lights, out_m):
    """About 2 ft out for 6 to 7 ft of tree, three around a large wide one, path lights 8 ft apart."""
    answer = call_json("wiring", "--placing", text)
    PlacementResponse.model_validate_json(json.dumps(answer), strict=True)
    assert answer["lights"] == lights
    assert answer["out_m"] == pytest.approx(out_m, abs=1e-3)
    assert answer["common_practice"]
    words = call("wiring", "--placing", text).stdout
    assert "common practice, no source" in words
    assert "geometry" in words


@pytest.mark.parametrize(
    "text", ["tree 30 ft by 28 ft", "wall 8 ft by 30 ft", "path 40 ft", "tall thing 4 m"]
)
def test_placing_says_where_how_aimed_and_how_bright_within_60_columns(monkeypatch, text):
    """What to do comes first, in an installer's words, and folds on a narrow terminal."""
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("NO_COLOR", "1")
    out = re.sub(r"\x1b\[[0-9;]*m", "", call("wiring", "--placing", text, "--surroundings", "4").stdout)
    assert max(map(len, out.splitlines())) <= 60
    answer = call_json("wiring", "--placing", text, "--surroundings", "4")
    flat = " ".join(out.split())
    assert flat.startswith(f"{text}: {answer['lights']} {answer['kind']} light")
    assert "e+" not in flat  # no figure as 1.68e+03
    assert f"{answer['lux']:.3g} lx" in flat
    assert f"{answer['lumens']:.0f} lm or {answer['candela']:.0f} cd each" in flat
    if text.startswith("path"):
        assert "Where left and right of the path in turn; the first 4.0 ft (1.22 m) from one end" in flat
    else:
        assert (
            f"Aim {answer['tilt_deg']:.0f}° above the level, with a beam of {answer['beam_deg']:g}°" in flat
        )
    if text.startswith("tree"):
        assert "from the crown's edge" in flat
        assert f"({answer['from_middle_m']:.2f} m) from the trunk" in flat


def test_placing_warns_of_what_will_not_look_right():
    """Too bright beside a dark garden, and too close to the column: both are said, with what to do."""
    asked = ("--placing", "tall thing 4 m by 1 ft", "--lux", "100", "--out", "1 ft")
    out = " ".join(call("wiring", *asked).stdout.split())
    assert "warning uneven: the brightest place gets" in out
    assert "100 lx beside surroundings of 3 lx: so bright that everything around it looks black" in out
    assert len(call_json("wiring", *asked)["warnings"]) == 3  # and more lumens than one lamp gives


def test_illuminance_goes_by_the_inverse_square_and_cosine_laws():
    """400 cd at a throw d on an upright face at an angle a give 400 cos(a) / d², to the trunk of a tree."""
    answer = call_json("wiring", "--placing", "tree 7 ft by 5 ft", "--candela", "400")
    out_m = (7 * 2 / 6.5 + 5 / 2) * 0.3048
    up_m = 2 / 3 * 7 * 0.3048
    throw_m = (out_m**2 + up_m**2) ** 0.5
    assert answer["lux"] == pytest.approx(400 * (out_m / throw_m) / throw_m**2, abs=0.01)


def test_a_network_as_large_as_gardens_get_is_solved(tmp_path):
    """Two hundred lights on one line are solved, each with its volts."""
    text = garden(
        cables=line("300 ft", "10 AWG"), fixtures='kind = "path"\ncount = 200\nwatts = 0.2\nvolts = [8, 15]'
    )
    _, answer = wiring_of(tmp_path, text)
    lights = answer["transformers"][0]["circuits"][0]["lights"]
    assert len(lights) == 200
    volts = [light["volts"] for light in lights]
    assert volts == sorted(volts, reverse=True)


def test_a_ring_on_two_commons_is_reported_like_any_other(tmp_path):
    """Every cable of a ring is in the JSON with its amperes; by hand for two equal runs joined by a bridge.

    Three lamps of 12 W and fixed 1 A: one at the end of each run, one at the middle of the bridge between
    these ends, which brings half an ampere to each. A second common has a run of its own.
    """
    cables = piece("boathouse", "a", "40 ft") + piece("boathouse", "b", "40 ft")
    cables += piece("a", "c", "10 ft") + piece("b", "c", "10 ft")
    cables += piece("boathouse", "gate", "40 ft", more="common = 2")
    lamp = 'kind = "spot"\ncount = 1\nwatts = 12\ndriver = "linear"\nnode = "{}"'
    rest = "".join(f"[[zones.fixtures]]\n{lamp.format(node)}\n" for node in ("b", "c", "gate"))
    text = garden(cables=cables, more="commons = 2", fixtures=lamp.format("a"), rest=rest)
    _, answer = wiring_of(tmp_path, text)
    ring, single = answer["transformers"][0]["circuits"]
    assert (ring["node"], ring["common"], single["node"], single["common"]) == (
        "boathouse",
        1,
        "boathouse, 12 V, common 2",
        2,
    )
    assert {(each["from"], each["to"]): each["amperes"] for each in ring["cables"]} == pytest.approx(
        {("boathouse", "a"): 1.5, ("boathouse", "b"): 1.5, ("a", "c"): 0.5, ("b", "c"): 0.5}, abs=1e-4
    )
    assert [each["backwards"] for each in ring["cables"]] == [False] * 4
    assert (ring["amperes"], single["amperes"]) == pytest.approx((3.0, 1.0), abs=1e-4)
    assert "gate" in call("wiring", tmp_path / "site.toml", "--all").stdout


def test_a_proposal_is_written_into_the_file(tmp_path):
    """``--apply 1`` writes the first proposal, comments kept, and reports on the wiring as it then is."""
    path = tmp_path / "site.toml"
    fixtures = 'kind = "path"\ncount = 10\nwatts = 12\nlamp = "filament"  # old stock'
    path.write_text(garden(cables=line("100 ft"), fixtures=fixtures), encoding="utf-8")
    before = call("wiring", path, "--json")
    assert before.exit_code == 1
    proposal = json.loads(before.stdout)["transformers"][0]["advice"][0]
    after = call("wiring", path, "--apply", "1", "--json")
    assert after.exit_code == 0
    assert proposal["words"] in after.stderr
    [circuit] = json.loads(after.stdout)["transformers"][0]["circuits"]
    promised = {light["node"]: light["volts"] for light in proposal["lights"]}
    assert {light["node"]: light["volts"] for light in circuit["lights"]} == pytest.approx(promised, abs=0.02)
    assert "# old stock" in path.read_text(encoding="utf-8")


@pytest.mark.parametrize("number", ["9", "0"])
def test_a_proposal_that_is_not_there_is_refused(tmp_path, number):
    """A number without a proposal changes nothing, and is a request that is wrong."""
    path = tmp_path / "site.toml"
    text = garden(cables=line("100 ft"), fixtures='kind = "path"\ncount = 10\nwatts = 12\nlamp = "filament"')
    path.write_text(text, encoding="utf-8")
    result = call("wiring", path, "--apply", number)
    assert result.exit_code == 2
    assert path.read_text(encoding="utf-8") == text


def test_where_nothing_is_wrong_there_is_nothing_to_apply(tmp_path):
    """Without an error there are no proposals."""
    path = tmp_path / "site.toml"
    path.write_text(garden(cables=line("10 ft")), encoding="utf-8")
    result = call("wiring", path, "--apply", "1")
    assert result.exit_code == 2
    assert "there are no proposals to apply" in result.stderr


def test_a_fault_is_named_in_text_and_json_by_the_names_of_the_site_file(tmp_path):
    """0.5 ohm before the third leg of a hub, written as readings: said as an electrician would, and where."""
    cables = (
        '[[cables]]\nfrom = "boathouse"\nhub = "oak"\ngauge = "12 AWG"\nlength = "40 ft"\n'
        'legs = ["10 ft", "15 ft", "20 ft", "25 ft"]\n'
    )
    lamps = 'kind = "spot"\ncount = 4\nwatts = 20\nlamp = "filament"\nnode = "oak"'
    bad = cables.replace('legs = ["10 ft", "15 ft", "20 ft", "25 ft"]\n', "")
    legs = (("1", 10, 0.0), ("2", 15, 0.0), ("3", 20, 0.5), ("4", 25, 0.0))
    bad = piece("boathouse", "oak", "40 ft") + "".join(
        piece("oak", f"oak {leg}", f"{length} ft", more=f"splice_ohm = {ohm}") for leg, length, ohm in legs
    )
    real = "\n[[zones.fixtures]]\n".join(
        f'kind = "spot"\ncount = 1\nwatts = 20\nlamp = "filament"\nnode = "oak {leg}"' for leg, *_ in legs
    )
    _, truth = wiring_of(tmp_path, garden(cables=bad, fixtures=real, rest="[wiring]\ncopper_c = 40"))
    volts = [round(each["volts"], 2) for each in truth["transformers"][0]["circuits"][0]["lights"]]
    _, answer = wiring_of(tmp_path, garden(cables=cables, fixtures=f"{lamps}\nmeasured_volts = {volts}"))
    found = answer["transformers"][0]["diagnosis"]
    best = found["explanations"][0]
    [place] = best["places"]
    assert (found["fault"], found["clear"], best["fault"]) == ("bad splice", True, "bad splice")
    assert place["cables"] == [{"from": "oak", "to": "oak 3"}]
    assert (place["size"], place["unit"]) == (pytest.approx(0.5, abs=0.05), "ohm")
    assert found["copper_c"] == pytest.approx(40, abs=15)
    said = " ".join(call("wiring", tmp_path / "site.toml").stdout.split())
    assert "One fault explains these readings, and no other does as well:" in said
    assert "ohm too much between “oak” and “oak 3”: open the splices there and remake them" in said
    assert "Switch the transformer off before you open a splice" in said
    assert "What was measured differs from what was computed." in said


def test_readings_that_agree_are_said_once(tmp_path):
    """Where nothing is wrong the text says so in one sentence, and lists no faults of nothing."""
    fixtures = LEDS
    _, truth = wiring_of(
        tmp_path, garden(cables=line("60 ft"), fixtures=fixtures, rest="[wiring]\ncopper_c = 30")
    )
    volts = [round(each["volts"], 2) for each in truth["transformers"][0]["circuits"][0]["lights"]]
    _, answer = wiring_of(
        tmp_path, garden(cables=line("60 ft"), fixtures=f"{fixtures}\nmeasured_volts = {volts}")
    )
    assert answer["transformers"][0]["diagnosis"]["fault"] == "nothing wrong"
    said = " ".join(call("wiring", tmp_path / "site.toml").stdout.split())
    assert said.count("othing is wrong") == 1
    assert "ohm too much" not in said


@pytest.mark.parametrize(
    ("taps", "words"), [("12, 13, 14", "use the 14 V tap"), ("12", "not with thicker cable")]
)
def test_a_ring_that_fails_gets_another_tap_or_is_said_to_have_been_tried_on_taps_only(tmp_path, taps, words):
    """Proposal 1 for a ring, written into the file, leaves no error; without a tap that does, it says so."""
    cables = line("150 ft", "14 AWG", more="# old") + piece("boathouse", "jetty 6", "150 ft", "14 AWG")
    lamps = 'kind = "path"\ncount = 6\nwatts = 16\nvolts = [11.0, 15.0]'
    path = tmp_path / "site.toml"
    path.write_text(garden(cables=cables, fixtures=lamps, more=f"taps = [{taps}]"), encoding="utf-8")
    result = call("wiring", path)
    assert result.exit_code == 1
    assert words in " ".join(result.stdout.split())
    if "tap" in words:
        assert call("wiring", path, "--apply", "1").exit_code == 0
        assert call("wiring", path).exit_code == 0
        assert "# old" in path.read_text(encoding="utf-8")
