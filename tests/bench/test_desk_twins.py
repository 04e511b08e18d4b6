"""Every page's twin is what the command of its job prints with --json.

Build's is that of `parts`, Try's and Results' that of `assess`. The start page's and the lookout's
are that of `bench` itself, which then serves nothing; the lookout's is also what the live process
serves to the display.
"""

import json
import shutil
import urllib.request

import pytest
from tests.bench.puppet import Puppet
from tests.made_sitting import made_sitting
from tests.slow_wall import SEED, command, register_slow_wall, write_slow_wall
from typer.testing import CliRunner

from rushlight.cli import app
from rushlight.jobs.plan import planned_rig


def of_command(*arguments):
    """What a command prints."""
    done = CliRunner().invoke(app, [*arguments, "--json"], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return json.loads(done.stdout)


def of_page(bench, path):
    """A page's twin."""
    with urllib.request.urlopen(f"{bench.url}{path}.json", timeout=600) as answer:
        return json.load(answer)


def of_display(folder, path):
    """What the live process serves to a display page."""
    with (
        Puppet(folder) as live,
        urllib.request.urlopen(f"{live.url}/{path}", timeout=120) as answer,
    ):
        return json.load(answer)


def undated(document):
    """Without the moment at which it was made."""
    header = {**document["header"]}
    header.pop("made_at")
    return {**document, "header": header}


def test_plan(bench):
    by_command = of_command("plan", str(bench.folder / "barn-wall"), "--grid", "2x2")
    # The page tells the plan that lies there, as long as it is of the rig as it stands.
    assert of_page(bench, "/rig/barn-wall/plan") == by_command


def test_plan_anew(bench):
    rig = bench.folder / "baton-anew"
    shutil.copytree(bench.folder / "choir-baton", rig)
    shutil.rmtree(rig / "plan", ignore_errors=True)
    by_page = of_page(bench, f"/rig/{rig.name}/plan")
    assert undated(by_page) == undated(of_command("plan", str(rig)))


def test_build(bench):
    assert of_page(bench, "/rig/choir-baton/build") == of_command(
        "parts", str(bench.folder / "choir-baton")
    )


def test_results(bench, tmp_path_factory):
    from rushlight.jobs.trials import keep_run

    rig = write_slow_wall(bench.folder / "found-wall")
    register_slow_wall(tmp_path_factory, rig)
    command(rig, "simulate", ".", "--script", "tapping", "--seed", SEED, "--out", "footage/tapping")
    command(rig, "plan", ".", "--grid", "2x2")
    of_session = ("--registration", "registration.json", "--out", "tapping.sqlite")
    command(rig, "run", "--footage", "footage/tapping", "--rig", ".", *of_session)
    command(rig, "assess", ".", "--anew")
    keep_run(rig, made_sitting("barn-wall"), simulated=False)
    by_page, by_command = of_page(bench, "/rig/found-wall/results"), of_command("assess", str(rig))
    for told in (by_page, by_command):  # the sittings are assessed anew each time
        told["trials"] = undated(told["trials"])
    assert by_command["sessions"]["compared"] and by_command["trials"]["taps"]
    assert by_page == by_command


def test_kit(bench):
    rig = bench.folder / "barn-wall"
    made = planned_rig(rig, (2, 2)).plan  # else each plans anew
    made.stamped("predicted", inputs={"rig": made.rig}).write(rig / "plan" / "plan.json")
    assert of_page(bench, "/rig/barn-wall/kit") == of_command("kit", str(rig), "--preview")


def test_survey(bench):
    from dataclasses import replace

    from rushlight.jobs.survey_form import blank, keep

    rig = bench.folder / "ferry-model"
    form = blank(rig)
    lengths = ("1.2 m", "1.21 m", "80 cm", "80 cm", "1447 mm", "1445 mm")
    lines = [replace(line, read=read) for line, read in zip(form.lines, lengths, strict=True)]
    keep(rig, replace(form, lines=tuple(lines)))
    by_page = of_page(bench, "/rig/ferry-model/survey")
    assert len(by_page["readings"]) == 6
    assert by_page == of_command("survey", str(rig))


def test_marks_on_the_display_are_those_that_the_command_lists(bench, serving, tmp_path):
    rig = shutil.copytree(serving.scenarios / "barn-wall", tmp_path / "barn-wall")
    served = of_display(tmp_path, "survey.json?rig=barn-wall")
    assert len(served["marks"]) == 9 and len(served["readings"]) == 6
    assert served == of_command("survey", str(rig), "--list-marks")


def test_register_in_space(bench):
    rig = bench.folder / "paper-theatre"
    by_command = of_command("register", "--rig", str(rig), "--out", str(rig / "registration.json"))
    assert of_page(bench, "/rig/paper-theatre/register") == by_command


def test_register_on_a_surface(bench, tmp_path_factory):
    rig = write_slow_wall(bench.folder / "touched-wall")
    by_command = register_slow_wall(tmp_path_factory, rig)
    assert by_command["vouched"] and by_command["touches"]
    assert of_page(bench, "/rig/touched-wall/register") == by_command


def test_aim(bench):
    from rushlight.jobs.aim_live import aim_live
    from rushlight.jobs.rehearsal import open_rehearsal

    folder = bench.folder / "slow-wall"
    folder.mkdir()
    text = (bench.folder / "barn-wall" / "rig.toml").read_text(encoding="utf-8")
    slow = text.replace('rate = "100 Hz"', 'rate = "15 Hz"')
    (folder / "rig.toml").write_text(slow, encoding="utf-8")
    aim_live(folder, source=open_rehearsal("rehearsal:8:askew", folder, paced=False), places=4)
    by_page = of_page(bench, "/rig/slow-wall/aim")
    assert by_page["reached"]
    assert by_page == of_command("aim", str(folder))


def test_try(bench):
    from rushlight.jobs.trials import keep_run

    rig = bench.folder / "barn-wall"
    kept = keep_run(rig, made_sitting(rig.name), simulated=False)
    by_command = of_command("assess", str(kept.path), "--rig", str(rig))
    assert by_command["taps"]
    assert undated(of_page(bench, "/rig/barn-wall/try")) == undated(by_command)


def test_lookout_is_what_the_command_and_the_live_process_tell(bench, serving, tmp_path):
    shutil.copytree(serving.scenarios / "paper-theatre", tmp_path / "paper-theatre")
    served = of_display(tmp_path, "theatre.json?rig=paper-theatre")
    assert served["pieces"] and served["screens"]
    told = of_page(bench, "/rig/paper-theatre/lookout")
    assert told == served
    assert told == of_command("bench", str(bench.folder), "--lookout", "paper-theatre")


def test_start(bench):
    by_page = of_page(bench, "/start")
    assert len(by_page["rigs"]) >= 4
    assert by_page == of_command("bench", str(bench.folder))


def test_the_start_page_tells_how_far_each_rig_has_come(bench):
    rigs = {each["name"]: each for each in of_page(bench, "/start")["rigs"]}
    assert set(rigs) >= {"barn-wall", "paper-theatre", "ferry-model", "choir-baton"}
    assert rigs["ferry-model"]["stage"] == "new"
    assert rigs["ferry-model"]["next"] == "plan"


def test_what_is_not_there_is_told_in_json(bench):
    for path in ("/rig/none-such/plan", "/rig/barn-wall/none-such"):
        with pytest.raises(urllib.error.HTTPError) as refused:
            of_page(bench, path)
        assert refused.value.code == 404
        assert json.load(refused.value)["findings"]
