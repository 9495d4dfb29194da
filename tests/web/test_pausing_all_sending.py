"""A supervisor stops all sending on the health page, everybody sees it there, and it goes on when they say so."""

from __future__ import annotations

from replacements.replies import pausing
from tests.web.invented_office import Site


def _paused(site: Site) -> str:
    with site.database.read() as session:
        return pausing.paused(session)


def test_a_supervisor_pauses_all_sending_and_lets_it_go_on(site: Site) -> None:
    boss = site.client("supervisor")
    page = boss.post("/health/sending", data={"do": "pause", "why": "A text <b>is</b> wrong."}, follow_redirects=True)
    assert "A text &lt;b&gt;is&lt;/b&gt; wrong" in page.get_data(as_text=True)
    assert "supervisor: A text" in _paused(site)
    assert "All sending is paused" in site.see("return_desk", "/health").get_data(as_text=True)
    assert "All sending is paused" in site.see("clerk", "/").get_data(as_text=True)
    page = boss.post("/health/sending", data={"do": "go_on"}, follow_redirects=True)
    assert "Sending goes on" in page.get_data(as_text=True)
    assert _paused(site) == ""


def test_only_who_may_switch_it_sees_the_switch(site: Site) -> None:
    assert "Pause all sending" in site.see("supervisor", "/health").get_data(as_text=True)
    assert "Pause all sending" not in site.see("clerk", "/health").get_data(as_text=True)
