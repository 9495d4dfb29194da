"""What is refused before a text is kept, and that the project's own texts pass all of it in every language."""

from __future__ import annotations

from pathlib import Path

import pytest

from replacements.replies import catalogue
from replacements.replies.checking import Checked, check
from replacements.replies.combinations import cases, filled
from replacements.replies.samples import example, reached
from replacements.replies.sources import FILES, REPLIES, Source, Texts, languages, names, own, phrases
from replacements.replies.syntax import names_of
from replacements.replies.texts import context_of
from replacements.rules.office import load_rules

OFFICE = load_rules(Path(__file__).parent / "quillhaven.toml")


def text(name: str, language: str = "en") -> Source:
    found = own(language, name)
    assert found is not None
    return found


def changed(name: str, old: str, new: str, language: str = "en", texts: Texts = FILES) -> Checked:
    """The project's own text with one thing changed, checked."""
    source = text(name, language)
    assert old in source.body, old
    return check(language, name, Source(source.subject, source.body.replace(old, new)), texts=texts, rules=OFFICE)


def with_subject(subject: str) -> Checked:
    return check("en", "mailed", Source(subject, text("mailed").body), texts=FILES, rules=OFFICE)


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("name", names())
def test_the_projects_own_texts_pass_every_check(name: str, language: str) -> None:
    found = check(language, name, text(name, language), texts=FILES, rules=OFFICE)
    assert found.mistakes == ()
    assert found.notes == ()


@pytest.mark.parametrize("name", names())
def test_a_caution_that_the_english_has_stands_in_every_language_in_the_same_cases(name: str) -> None:
    every = {language: names_of(text(name, language).body) for language in languages()}
    together = frozenset().union(*every.values())
    needs = set(catalogue.needed(name).needs)
    english = [one.shown & needs for one in filled(text(name).body, together)]
    for language in languages():
        assert [one.shown & needs for one in filled(text(name, language).body, together)] == english, language


@pytest.mark.parametrize("name", names())
def test_what_a_text_must_keep_is_something_that_it_says(name: str) -> None:
    need = catalogue.needed(name)
    assert set(need.needs) <= catalogue.known(name)
    shown = frozenset().union(*(one.shown for one in filled(text(name).body, names_of(text(name).body))))
    assert set(need.needs) <= shown
    assert set(need.differs) <= names_of(text(name).body) | {
        fact for one in names_of(text(name).body) & set(phrases()) for fact in reached("en", f"phrases/{one}", FILES)
    }


def test_every_fact_that_a_text_can_name_is_on_the_list_and_none_else() -> None:
    assert set(context_of(example(OFFICE), "en")) == set(catalogue.facts())
    assert not set(catalogue.facts()) & set(phrases())


def test_every_phrase_is_used_by_a_reply_in_every_language() -> None:
    for language in languages():
        used = set().union(*(reached(language, name, FILES) for name in (*REPLIES, "frame")))
        assert used & set(phrases()) == set(phrases())
    assert all(catalogue.needed(f"phrases/{name}").says for name in phrases())


def test_all_mistakes_are_told_in_one_pass() -> None:
    source = Source("", "Hello <b>you</b>, call {{ phnoe }} on [date].\n{% include 'x' %}")
    found = check("en", "reissue", source, texts=FILES, rules=OFFICE)
    told = " ".join(found.mistakes)
    assert "The subject is empty" in told
    assert "There is no fact called “phnoe”. Did you mean “phone”?" in told
    assert "no “include”" in told


@pytest.mark.parametrize(
    ("name", "old", "missing"),
    [
        ("reissue", "{{ old_ballot_rule }}", "destroy it, do not use it"),
        ("reissue", "{{ steps }}", "in numbered steps"),
        ("statement_first", "{{ no_choices }}", "not to tell how one votes"),
        ("ask_identity", "{{ list_not_told }}", "list of voters"),
        ("frame", "{{ law_first }}", "the law goes before"),
        ("frame", "{{ not_adopted }}", "no official has adopted"),
        ("frame", "{{ name }}", "the voter's name"),
        ("answer/identification", "{{ no_id_by_mail }}", "by e-mail"),
    ],
)
def test_a_text_without_a_caution_that_it_needs_is_refused(name: str, old: str, missing: str) -> None:
    found = changed(name, old, "All is well.")
    assert [m for m in found.mistakes if missing in m and "is missing" in m]


def test_a_caution_that_is_missing_only_in_one_case_is_found_and_the_case_is_named() -> None:
    found = changed("already_back", "{{ not_you }}", "{% if not on_file %}{{ not_you }}{% endif %}")
    assert any("{{ not_you }} is missing when the address is on file" in m for m in found.mistakes)


def test_a_deadline_that_is_left_out_is_refused() -> None:
    source = text("lapsed")
    body = source.body.replace("{{ last_request|hour }} on\n{{ last_request|full }}", "the last day")
    assert body != source.body
    found = check("en", "lapsed", Source(source.subject, body), texts=FILES, rules=OFFICE)
    assert any(
        "{{ last_request|full }} is missing when a ballot can still be asked for by mail" in m for m in found.mistakes
    )


def test_a_text_that_tells_strangers_what_the_record_shows_is_refused() -> None:
    source = text("already_back")
    told = source.body.split("{% if on_file %}\n")[1].split("{% else %}")[0]
    found = check("en", "already_back", Source(source.subject, told), texts=FILES, rules=OFFICE)
    assert any("{{ record_not_told }} is missing when the address is not on file" in m for m in found.mistakes)
    assert any("“on_file”" in m and "must say something else" in m for m in found.mistakes)


def test_a_caution_may_be_said_otherwise_but_must_still_tell_its_cases_apart() -> None:
    assert changed("phrases/no_picture", "Please do not", "Never").mistakes == ()
    flat = check(
        "en",
        "phrases/old_ballot_rule",
        Source("", "Your old ballot {{ old_ballot }} is done."),
        texts=FILES,
        rules=OFFICE,
    )
    assert any("“suspends”" in m for m in flat.mistakes)
    assert any("“never_came”" in m for m in flat.mistakes)


@pytest.mark.parametrize(
    ("new", "told"),
    [
        ("{{ mailing_day }}", "needs a form: write {{ mailing_day|full }}"),
        ("{{ mailing_day|hour }}", "a day without an hour"),
        ("{{ mailing_day|fully }}", "“|fully” is not known"),
        ("{{ phone|full }}", "only goes with a day"),
        ("{{ mailing_day|full }", "the braces do not fit together"),
        ("{% if mailing_day %}", "the braces do not fit together"),
        ("{{ mailing_day.year }}", "Only a drop box has parts"),
        ("{{ return_rule() }}", "Write a name alone"),
        ("{{ ''.__class__ }}", "Only a drop box has parts"),
        ("{{ 9 * 9 }}", "no “mul”"),
        ("{% set a = phone %}", "no “assign”"),
        ("{{ maling_day|full }}", "Did you mean “mailing_day”?"),
        ("{{ voter_address }}", "no fact called “voter_address”"),
    ],
)
def test_a_tag_that_cannot_work_is_told_in_plain_words(new: str, told: str) -> None:
    found = changed("reissue", "{{ mailing_day|full }}", new)
    assert any(told in m for m in found.mistakes), found.mistakes


def test_a_day_that_may_be_missing_must_be_asked_for_first() -> None:
    found = changed(
        "mailed", "{% if mailing_day %} It left us on {{ mailing_day|full }}.{% endif %}", " {{ mailing_day|full }}."
    )
    assert any("when" in m and "the day of the mailing is not known" in m for m in found.mistakes)


@pytest.mark.parametrize(
    "left", ["[date]", "{name}", "____", "TODO", "XXX", "%s", "<NAME>", "&nbsp;", "<script>x</script>"]
)
def test_nothing_to_be_filled_in_and_no_html_is_left(left: str) -> None:
    found = changed("mailed", "If it is not there", f"{left} If it is not there")
    assert [m for m in found.mistakes if left.split(">")[0] in m], found.mistakes


@pytest.mark.parametrize(
    "subject",
    [
        "",
        "Your ballot\nBcc: a@b.example",
        "Your ballot\r\nX: y",
        "Your {{ ballot }}",
        "Your \u202eballot",
        "x" * 101,
        "Your [thing]",
    ],
)
def test_a_subject_is_one_plain_line(subject: str) -> None:
    assert with_subject(subject).mistakes


def test_a_hidden_character_in_the_text_is_named() -> None:
    found = changed("mailed", "If it is", "If\u200b it is")
    assert any("U+200B" in m for m in found.mistakes)


def test_what_is_typed_by_hand_though_a_fact_says_it_is_pointed_out() -> None:
    found = changed("mailed", "If it is not there in a week, call us.", "Call (555) 555-0199 before 2027.")
    assert found.mistakes == ()
    assert any("{{ phone }}" in note for note in found.notes)
    assert any("2027" in note for note in found.notes)


def test_a_text_that_is_hard_to_read_is_refused_with_its_longest_sentence() -> None:
    hard = (
        "Notwithstanding the administrative circumstances surrounding the aforementioned reissuance, the authority's "
        "authorized representatives respectfully recommend immediate familiarization with applicable requirements "
        "concerning authentication, certification and transmission of replacement documentation to the municipality. "
    )
    found = changed("mailed", "If it is not there", hard * 2 + "If it is not there")
    assert any("school grade" in m and "Notwithstanding" in m for m in found.mistakes)
    spanish = (
        "Independientemente de las circunstancias administrativas correspondientes a la mencionada reexpedición, los "
        "representantes autorizados recomiendan la familiarización inmediata con los requisitos reglamentarios "
        "aplicables a la autenticación, certificación y transmisión de la documentación sustitutiva. "
    )
    refused = changed("mailed", "Si no ha llegado", spanish * 3 + "Si no ha llegado", language="es")
    assert any("INFLESZ" in m for m in refused.mistakes)


def test_a_text_that_is_too_long_or_empty_is_refused() -> None:
    assert any("6000 is the most" in m for m in changed("mailed", "If it is", "We wait. " * 700 + "If it is").mistakes)
    assert any("4000 is the most" in m for m in changed("mailed", "If it is", "We wait. " * 450 + "If it is").mistakes)
    assert check("en", "mailed", Source("Hello", " \n "), texts=FILES, rules=OFFICE).mistakes == ("The text is empty.",)


def test_a_phrase_cannot_stand_within_itself() -> None:
    texts = FILES.but("en", "phrases/bring_it", Source("", text("phrases/bring_it").body + " {{ steps }}"))
    found = changed("phrases/steps", "{{ return_rule }}", "{{ return_rule }} {{ bring_it }}", texts=texts)
    assert any("would stand within itself" in m for m in found.mistakes)


def test_the_frame_goes_around_exactly_one_reply() -> None:
    assert any("exactly once" in m for m in changed("frame", "{{ body }}", "{{ body }} {{ body }}").mistakes)
    assert any("no fact called “body”" in m for m in changed("mailed", "If it is", "{{ body }} If it is").mistakes)


def test_a_text_that_tells_too_many_cases_apart_is_refused_before_it_is_filled() -> None:
    switches = [name for name, fact in catalogue.facts().items() if fact.kind == "yes_no" or fact.optional]
    many = "".join(f"{{% if {name} %}}.{{% endif %}}" for name in switches)
    assert any("too many things at once" in m for m in changed("mailed", "If it is", many + "If it is").mistakes)


def test_cases_are_every_combination_and_named_in_words() -> None:
    assert len(list(cases(["stopped", "suspends", "phone"]))) == 6


def test_a_text_that_does_not_exist_cannot_be_checked() -> None:
    for language, name in (("en", "weather"), ("fr", "reissue"), ("en", "../en/reissue")):
        with pytest.raises(LookupError):
            check(language, name, Source("a", "b"), texts=FILES, rules=OFFICE)
