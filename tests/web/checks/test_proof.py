"""The page of the proof test, as a browser without scripts gets it, and in a real one."""

import re
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from playwright.sync_api import Browser, Page, expect
from reading import words
from werkzeug.test import TestResponse

from daemon.api.socket.proof import ProofEnd

Make = Callable[..., Any]

TO_OPEN = "Open the loop of 'lid' now, at the contact itself."


def heading(response: TestResponse) -> str:
    found = re.search(r"<h1>(.*?)</h1>", response.text, re.DOTALL)
    assert found is not None
    text = " ".join(unescape(re.sub(r"<[^>]*>", " ", found[1])).split())
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NON-BREAKING HYPHEN}", "-")


def level(response: TestResponse) -> str:
    found = re.search(r'class="word" data-level="(\w+)"', response.text)
    assert found is not None
    return found[1]


def press(client: FlaskClient, at: str, path: str, **fields: str) -> TestResponse:
    """Press a button of the page at `at`, and follow where it leads."""
    token = re.search(r'name="csrf_token" value="([^"]+)"', client.get(at).text)
    assert token is not None
    return client.post(path, data={"csrf_token": token[1], **fields}, follow_redirects=True)


class TestStanding:
    """How it stands while no walk is followed."""

    def test_never(self, peer: Any, client: FlaskClient, proof: Make) -> None:
        peer.proof = proof(due_utc=None, overdue="the ways to stop were never proved here")
        page = client.get("/proof")
        assert heading(page) == (
            "Never proved here. Prove each way to stop before the next unattended night."
        )
        assert (page.status_code, level(page)) == (200, "attention")
        assert "6 steps, each with a small current" in words(page)
        assert "and the meter as witness: supply off" in words(page)
        assert "Nobody's hands are in the tank." in words(page)

    def test_nothing_around_the_supply(self, peer: Any, client: FlaskClient, proof: Make) -> None:
        peer.proof = proof(wanted=False, due_utc=None, steps=proof().steps[:1])
        page = client.get("/proof")
        assert "The settings name no contactor, interlock or signal." in heading(page)
        assert level(page) == "calm"
        assert "1 step, each with a small current" in words(page)

    def test_overdue(self, peer: Any, make_client: Make, proof: Make, kept: Path) -> None:
        """Noon of 20 February and 5 days is noon of 25 February; it is the morning of 2 March."""
        peer.proof = proof(due_utc="2026-02-25T12:00:00+00:00", overdue="late", required=True)
        page = make_client(kept).get("/proof")
        assert heading(page) == (
            "Overdue since 2026-02-25. The last proof test was on 2026-02-20, 9 days ago. Prove "
            "each way to stop before the next unattended night. No run starts until then."
        )
        assert level(page) == "attention"

    def test_good_with_each_step_and_those_before(self, make_client: Make, kept: Path) -> None:
        page = make_client(kept).get("/proof")
        assert heading(page) == (
            "Each way to stop was proved. On 2026-02-20, 9 days ago. The next is due by 2026-05-21."
        )
        assert level(page) == "calm"
        said = words(page)
        assert "Proof test 2, 2026-02-20 12:00:00, anna" in said
        assert (
            "Interlock lid passed 0.000 A after 0.51 s, then held "
            "Expected: below 0.020 A within 3.0 s, then held" in said
        )
        assert "Before that 2026-02-19 12:00:00 Failed: interlock leak 6 steps, ben" in said

    def test_the_newest_failed(self, make_client: Make, kept: Path, keep: Make) -> None:
        keep(kept, "siren", utc_ms=1_771_675_200_000)
        page = make_client(kept).get("/proof")
        assert heading(page) == (
            "The last proof test failed: siren. That was on 2026-02-21, 8 days ago. Repair it, "
            "then prove it again before any unattended night."
        )
        assert level(page) == "attention"

    def test_why_it_cannot_begin(self, peer: Any, client: FlaskClient, proof: Make) -> None:
        peer.proof = proof(refusal="interlock open: lid", not_proved=("beacon: none wants it",))
        said = words(client.get("/proof"))
        assert "It cannot begin now: interlock open: lid." in said
        assert "Not proved: beacon: none wants it." in said
        assert "Who proves" not in said

    def test_older_ones_are_pages_on(self, make_client: Make, kept: Path, keep: Make) -> None:
        keep(kept, times=51)
        client = make_client(kept)
        first = client.get("/proof").text
        assert 'href="/proof?before=4"' in first
        older = words(client.get("/proof?before=4"))
        assert "All that are kept" in older
        assert older.count("6 steps,") == 3
        assert "Who proves" not in older
        assert client.get("/proof?before=x").status_code == 400

    def test_without_a_record_the_rest_is_there(self, make_client: Make, tmp_path: Path) -> None:
        page = make_client(tmp_path / "none.db").get("/proof")
        assert page.status_code == 200
        assert "The record cannot be read:" in words(page)

    def test_without_a_daemon_what_is_kept_is_there(
        self, peer: Any, make_client: Make, kept: Path
    ) -> None:
        peer.stop()
        page = make_client(kept).get("/proof?walk=ab12cd34")
        assert (page.status_code, level(page)) == (503, "alarm")
        assert heading(page).startswith("The daemon does not answer. Whether current flows")
        assert "Proof test 2, 2026-02-20 12:00:00" in words(page)
        # It may come back: whoever follows a walk goes on asking.
        assert 'data-source="/proof?walk=ab12cd34"' in page.text


class TestWalk:
    """A walk that is under way, and how it ended."""

    def test_what_is_to_be_done_comes_first(
        self, peer: Any, client: FlaskClient, proof: Make, walk: Make, make_status: Make
    ) -> None:
        peer.status = make_status(current_a=0.198)
        peer.proof = proof(walk=walk(1, todo=TO_OPEN, left_s=96.4))
        page = client.get("/proof")
        assert heading(page) == (
            f"{TO_OPEN} Step 2 of 6: interlock lid. "
            "Expected: below 0.020 A within 3.0 s, then held."
        )
        said = words(page)
        assert "0.198 A The meter that counts, output on . 96 s left" in said
        assert "Supply off by command passed 0.001 A after 0.42 s, then held" in said
        assert "Interlock lid now The open loop holds the run" in said
        assert "Interlock leak Expected:" in said
        assert level(page) == "calm"
        # It loads itself again, with its own address, and offers nothing but to give up.
        assert '<meta http-equiv="refresh" content="3; url=/proof?walk=ab12cd34">' in page.text
        assert re.findall(r"<button[^>]*>([^<]+)</button>", page.text) == [
            "Give up", "metric", "US trade", "Hold", "Resume", "Reset", "Abort", "Stop",
        ]  # fmt: skip

    def test_what_goes_on_while_nobody_is_waited_for(
        self, peer: Any, client: FlaskClient, proof: Make, walk: Make
    ) -> None:
        peer.proof = proof(walk=walk(3, doing="The meter is watched."))
        assert heading(client.get("/proof")).startswith("The meter is watched. Step 4 of 6:")

    def test_a_figure_that_is_old_is_none(
        self, peer: Any, client: FlaskClient, proof: Make, walk: Make, make_status: Make
    ) -> None:
        peer.status = make_status(reading_age_s=9.0)
        peer.proof = proof(walk=walk(1, todo=TO_OPEN, left_s=96.4))
        assert "– A The meter that counts" in words(client.get("/proof"))

    def test_a_question_is_answered_with_its_step(
        self, peer: Any, client: FlaskClient, proof: Make, walk: Make
    ) -> None:
        peer.proof = proof(walk=walk(4, failed=3, question="Does the siren sound now?"))
        page = client.get("/proof")
        assert heading(page).startswith("Does the siren sound now? Step 5 of 6: siren.")
        assert level(page) == "attention"  # a step has failed
        answered = press(client, "/proof", "/proof/answer", walk="ab12cd34", step="4", yes="0")
        (said,) = peer.proved
        assert (said.walk, said.step, said.yes) == ("ab12cd34", 4, False)
        assert answered.request.full_path == "/proof?walk=ab12cd34"

    def test_a_question_that_is_over_is_told(
        self, peer: Any, client: FlaskClient, proof: Make, walk: Make
    ) -> None:
        peer.proof = proof(walk=walk(5, question="Has it arrived?"))
        peer.refusal = "proof test: that question is not asked any more"
        page = press(client, "/proof", "/proof/answer", walk="ab12cd34", step="4", yes="1")
        assert "Not done: proof test: that question is not asked any more." in words(page)
        assert "Has it arrived?" in heading(page)

    @pytest.mark.parametrize(
        ("end", "step", "said", "colour"),
        [
            (ProofEnd(how="passed", kept=3), 5,
             "Passed. All 6 steps. It is kept as proof test 3.", "calm"),
            (ProofEnd(how="failed", kept=3, why="given up by ben"), 4,
             "Failed: contactor without its heartbeat. Given up by ben. Repair it, then prove it "
             "again before any unattended night. It is kept as proof test 3.", "attention"),
            (ProofEnd(how="given up", why="stop by ben"), 0,
             "The proof test ended early. Stop by ben. The output is off. Nothing is kept: begin "
             "again.", "attention"),
        ],
    )  # fmt: skip
    def test_how_it_ended(
        self, peer: Any, client: FlaskClient, proof: Make, walk: Make, make_status: Make,
        end: ProofEnd, step: int, said: str, colour: str,
    ) -> None:  # fmt: skip
        peer.status = make_status(state="idle", output_on=False, current_a=0.0)
        failed = 3 if end.how == "failed" else None
        peer.proof = proof(walk=walk(step, failed=failed, ended=end))
        page = client.get("/proof?walk=ab12cd34")
        assert (heading(page), level(page)) == (said, colour)
        assert "data-source" not in page.text
        assert 'http-equiv="refresh"' not in page.text
        # Who does not follow it sees how it stands.
        assert heading(client.get("/proof")).startswith("Never proved here.")

    def test_an_output_that_is_still_on_is_an_alarm(
        self, peer: Any, client: FlaskClient, proof: Make, walk: Make
    ) -> None:
        peer.proof = proof(walk=walk(0, ended=ProofEnd(how="given up", why="stop by ben")))
        page = client.get("/proof?walk=ab12cd34")
        assert "The supply's output is still on: look at the tank." in heading(page)
        assert level(page) == "alarm"

    def test_a_daemon_that_has_started_anew_knows_no_walk(self, client: FlaskClient) -> None:
        page = client.get("/proof?walk=ab12cd34")
        assert heading(page) == (
            "The walk is gone. The daemon has started anew since, with the output off. "
            "Nothing of it was kept: begin again."
        )
        assert level(page) == "attention"


class TestPresses:
    """Begin, and give up."""

    def test_begin(self, peer: Any, client: FlaskClient, proof: Make, walk: Make) -> None:
        peer.proof = proof()
        client.get("/proof")
        peer.proof = proof(walk=walk(0, doing="The current is brought up."))
        page = press(
            client, "/proof", "/proof/begin", name=" anna ", current="150 mA", ceiling="2.5 V"
        )
        (begun,) = peer.proved
        assert (begun.who, begun.where) == ("anna, the page at 127.0.0.1", "page, 127.0.0.1")
        assert (begun.current_a, begun.ceiling_v) == (pytest.approx(0.15), 2.5)
        assert page.request.full_path == "/proof?walk=ab12cd34"
        assert heading(page).startswith("The current is brought up.")

    @pytest.mark.parametrize(
        ("fields", "said"),
        [
            ({"name": " "}, "who proves has to be said"),
            ({"name": "anna", "current": "0.2"}, "expected a current such as"),
            ({"name": "anna", "current": "-1 A"}, "current: must be above 0 A, got '-1 A'"),
            ({"name": "anna", "ceiling": "3 A"}, "expected a voltage such as"),
        ],
    )
    def test_what_cannot_be_begun_with(
        self, peer: Any, client: FlaskClient, fields: dict[str, str], said: str
    ) -> None:
        page = press(client, "/proof", "/proof/begin", **fields)
        assert f"Not done: {said}" in words(page)
        assert peer.proved == []

    def test_a_refusal_is_told_and_leads_to_the_one_that_is_under_way(
        self, peer: Any, client: FlaskClient, proof: Make, walk: Make
    ) -> None:
        peer.refusal = "proof test: one is under way, begun by ben"
        peer.proof = proof(walk=walk(1, todo=TO_OPEN))
        page = press(client, "/proof", "/proof/begin", name="anna")
        assert "Not done: proof test: one is under way, begun by ben." in words(page)
        assert heading(page).startswith(TO_OPEN)

    def test_give_up_as_often_as_is_wanted(
        self, peer: Any, client: FlaskClient, proof: Make, walk: Make
    ) -> None:
        peer.proof = proof(walk=walk(1, todo=TO_OPEN))
        for _ in range(25):
            assert press(client, "/proof", "/proof/end", walk="ab12cd34").status_code == 200
        assert [request.ask for request in peer.proved] == ["end proof"] * 25

    def test_a_daemon_that_gives_no_answer(self, peer: Any, client: FlaskClient) -> None:
        token = re.search(r'name="csrf_token" value="([^"]+)"', client.get("/proof").text)
        assert token is not None
        peer.stop()
        page = client.post("/proof/end", data={"csrf_token": token[1], "walk": "ab12cd34"})
        assert page.status_code == 503
        assert "The daemon gave no answer." in words(page)

    @pytest.mark.parametrize("path", ["/proof/begin", "/proof/answer", "/proof/end"])
    def test_only_by_a_form_of_ours(self, peer: Any, client: FlaskClient, path: str) -> None:
        assert client.post(path, data={"walk": "ab12cd34"}).status_code == 400
        foreign = client.post(path, headers={"Sec-Fetch-Site": "cross-site"})
        assert foreign.status_code == 403
        assert client.get(path).status_code == 405
        assert peer.proved == []

    def test_a_form_that_nobody_made_is_no_page(self, peer: Any, client: FlaskClient) -> None:
        page = press(client, "/proof", "/proof/answer", walk="ab12cd34", step="x", yes="1")
        assert page.status_code == 404
        assert peer.proved == []


class TestWays:
    """How one comes to it."""

    def test_from_the_first_page_and_its_alarm(
        self, peer: Any, client: FlaskClient, make_status: Make, whisker: Make
    ) -> None:
        assert '<a href="/proof">Proof test</a>' in client.get("/").text
        assert "To the proof test" not in client.get("/").text
        overdue = (whisker(cause="proof test overdue", priority="low"),)
        peer.status = make_status(alarms=overdue)
        assert "To the proof test" not in client.get("/").text  # a run is under way
        peer.status = make_status(state="idle", run=None, output_on=False, alarms=overdue)
        assert '<a href="/proof">To the proof test</a>' in client.get("/").text

    def test_the_first_page_says_that_one_is_under_way(
        self, peer: Any, client: FlaskClient, make_status: Make
    ) -> None:
        peer.status = make_status(proving="step 2 of 6, interlock lid")
        page = client.get("/")
        assert "The proof test is at step 2 of 6, interlock lid." in heading(page)
        assert "A proof test is under way: follow it" in words(page)


@pytest.mark.browser
class TestBrowser:
    """In a real browser, with scripts and without."""

    @pytest.fixture
    def page(self, browser: Browser) -> Any:
        context = browser.new_context(viewport={"width": 320, "height": 640})
        yield context.new_page()
        context.close()

    @pytest.fixture
    def plain(self, browser: Browser) -> Any:
        context = browser.new_context(java_script_enabled=False)
        yield context.new_page()
        context.close()

    def test_it_is_walked_through_from_begin_to_what_is_kept(
        self, page: Page, address: str, peer: Any, proof: Make, walk: Make, make_status: Make
    ) -> None:
        peer.status = make_status(state="idle", run=None, output_on=False, current_a=0.0)
        page.goto(f"{address}/proof")
        page.get_by_label("Who proves").fill("anna")
        peer.after = {"proof": proof(walk=walk(1, todo=TO_OPEN, left_s=96.4))}
        page.get_by_role("button", name="Begin").click()
        expect(page.get_by_role("heading", level=1)).to_contain_text(TO_OPEN)
        # Figures follow; the buttons stay the ones that they were.
        page.evaluate("document.querySelector('.quiet').dataset.mine = 1")
        peer.status = make_status(current_a=0.155)
        expect(page.locator(".witness")).to_contain_text("0.155")
        assert page.locator(".quiet").get_attribute("data-mine") == "1"
        peer.proof = proof(walk=walk(4, question="Does the siren sound now?"))
        with page.expect_response(lambda answer: answer.request.method == "POST"):
            page.get_by_role("button", name="Yes").click()
        assert peer.proved[-1].yes is True
        # Nothing is wider than the phone.
        assert page.evaluate("document.documentElement.scrollWidth") <= 320
        peer.status = make_status(state="idle", run=None, output_on=False, current_a=0.0)
        peer.proof = proof(walk=walk(5, ended=ProofEnd(how="passed", kept=3)))
        expect(page.get_by_role("heading", level=1)).to_contain_text("Passed. All 6 steps.")

    def test_two_browsers_see_the_same_walk_and_one_of_them_gives_it_up(
        self, page: Page, plain: Page, address: str, peer: Any, proof: Make, walk: Make
    ) -> None:
        peer.proof = proof(walk=walk(1, todo=TO_OPEN, left_s=96.4))
        page.goto(f"{address}/proof")
        plain.goto(f"{address}/proof")
        for each in (page, plain):
            expect(each.get_by_role("heading", level=1)).to_contain_text(TO_OPEN)
        ended = walk(1, ended=ProofEnd(how="given up", why="given up by anna"))
        peer.after = {"proof": proof(walk=ended)}
        with plain.expect_navigation():
            plain.get_by_role("button", name="Give up").click()
        assert peer.proved[-1].walk == "ab12cd34"
        for each in (page, plain):
            heading = each.get_by_role("heading", level=1)
            expect(heading).to_contain_text("Given up by anna.", timeout=20_000)

    def test_a_daemon_that_dies_and_comes_back_is_told_of(
        self, page: Page, address: str, peer: Any, proof: Make, walk: Make
    ) -> None:
        peer.proof = proof(walk=walk(1, todo=TO_OPEN, left_s=96.4))
        page.goto(f"{address}/proof")
        heading = page.get_by_role("heading", level=1)
        expect(heading).to_contain_text(TO_OPEN)
        peer.stop()
        expect(heading).to_contain_text("The daemon does not answer.", timeout=20_000)
        peer.proof = proof()
        peer.start()
        expect(heading).to_contain_text("The walk is gone.", timeout=20_000)

    def test_a_page_s_process_that_is_another_one_is_pressed_as_well(
        self, page: Page, make_page_at: Make, peer: Any, proof: Make, walk: Make
    ) -> None:
        peer.proof = proof(walk=walk(4, question="Does the siren sound now?"))
        with make_page_at() as first:
            page.goto(f"{first}/proof")
            expect(page.get_by_role("button", name="Yes")).to_be_visible()
            page.evaluate("document.querySelector('.presses').dataset.old = 1")
        with page.expect_response("**/proof?walk=*", timeout=20_000), make_page_at():
            expect(page.locator(".presses[data-old]")).to_have_count(0, timeout=20_000)
            page.get_by_role("button", name="Yes").click()
            expect(page.get_by_role("heading", level=1)).to_contain_text("Does the siren")
        assert peer.proved[-1].yes is True

    def test_without_a_page_it_says_that_what_stands_here_is_old(
        self, page: Page, make_page_at: Make, peer: Any, proof: Make, walk: Make
    ) -> None:
        peer.proof = proof(walk=walk(1, todo=TO_OPEN, left_s=96.4))
        with make_page_at() as address:
            page.goto(f"{address}/proof")
        heading = page.get_by_role("heading", level=1)
        expect(heading).to_contain_text("No word from the page for", timeout=20_000)
        expect(heading).to_contain_text("What stands here is old. Look at the tank.")
