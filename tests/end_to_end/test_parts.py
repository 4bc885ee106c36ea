"""A kept part in a plan, through a real daemon: its area, and the area of what goes on with it."""

PLAN = """\
title = "Bracket"
part = "bracket"
copies = 2
target = "12 µm"
voltage_ceiling = "6 V"
caps = { charge = "4 Ah", duration = "5 h" }
[[stage]]
name = "build"
current = "2 A"
"""


def test_a_plan_with_a_kept_part(daemon, tmp_path):
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN, encoding="utf-8")
    code, _, err = daemon.cli("run", plan)
    assert code == 1
    assert "no part 'bracket' is kept; kept: none" in err[0]

    keep = ("part", "--layers", "2 %", "--keep", "bracket")
    # 0.88 dm² each; and later, after a better look, 0.952 dm².
    assert daemon.cli(*keep, "box 60 x 40 x 20 mm")[0] == 0
    code, out, err = daemon.cli("run", plan)
    assert (code, err) == (0, [])
    assert "note       area 1.76 dm² by 2 of 'bracket', kept as part 1" in out
    assert daemon.cli(*keep, "box 60 x 40 x 23.6 mm")[0] == 0
    daemon.until_state("running")
    assert daemon.act("stop").ok
    daemon.until_state("stopped")
    assert daemon.cli("run", "--continue", "1")[0] == 0
    daemon.until_state("running")
    assert daemon.act("stop").ok
    daemon.until_state("stopped")

    first, second = daemon.run_record(1), daemon.run_record(2)
    assert (first.area_dm2, second.area_dm2) == (1.76, 1.76)
    assert first.reckoning == second.reckoning
    assert first.plan == second.plan == PLAN
