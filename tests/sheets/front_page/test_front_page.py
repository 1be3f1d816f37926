"""Page 1 of the report: fifteen questions answered, in plain words, in three languages."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, date, datetime

import pypdf
import pytest

from tests.sheets.front_page.readability import (
    counted_words,
    flesch,
    kandel_moles,
    sentences_of,
    syllables,
    vienna,
)
from tests.sheets.visits import facts, pages, village_organ
from walkboard.book.records import FaultKind
from walkboard.sheets.front_page.build import front_page
from walkboard.sheets.front_page.news import (
    EventNews,
    FaultNews,
    FrontPage,
    Language,
    NextVisitNews,
    Question,
    VenueNews,
)
from walkboard.sheets.front_page.phrases import phrases
from walkboard.sheets.front_page.to_html import front_page_html
from walkboard.sheets.report import visit_report
from walkboard.sheets.typesetting import render_pdf

EVENT = EventNews(
    "Lunchtime recital",
    datetime(2031, 3, 23, 13, 0, tzinfo=UTC),
    19.0,
    is_ready=False,
    weakest=("Oboe 8′ (Swell)", "Open Diapason 8′ (Great)"),
    not_heard=("Flute 8′ (Solo)",),
)
COMING = datetime(2031, 4, 2, 9, 0, tzinfo=UTC)
GAMBA = FaultNews("dead note", "Gamba 8′ (Swell)", "D#3", 2, 2028, "the tuner", "use the Flute")
NEWS = VenueNews(
    "Harbour Hall",
    date(2031, 3, 14),
    event=EVENT,
    tuned=119,
    tuned_stops=("Trumpet 8′ (Great)", "Octave 4′ (Great)", "Oboe 8′ (Swell)", "Twelfth (Great)"),
    left=12,
    was_planned=True,
    faults=(GAMBA,),
    tuned_for_celsius=19.0,
    enclosed=("Swell",),
    humidity=0.55,
    next_visit=NextVisitNews(
        datetime(2031, 4, 2, 9, 0, tzinfo=UTC), 4.0, "The choir sings on the 5th."
    ),
    contact="A. Hand, 01 234 567",
)
NOTHING = VenueNews("Harbour Hall", date(2031, 3, 14))
# Everything that can be long at once: the page must hold all the same.
WORST = replace(
    NEWS,
    event=replace(
        EVENT,
        title="Summer recital of the choral society with trumpets, drums and four soloists",
        weakest=EVENT.weakest * 9,
        not_heard=EVENT.not_heard * 9,
    ),
    left_reason="the slides of this rank are rusted and I will not force them before it is oiled",
    faults=(replace(GAMBA, who="the organ builder, with a new foot"), GAMBA, GAMBA),
    tuned_for_celsius=21.5,
    enclosed=("Swell", "Solo", "Echo"),
    humidity=0.31,
    next_visit=NextVisitNews(
        datetime(2031, 4, 2, 9, 0, tzinfo=UTC),
        4.5,
        "The choir rehearses with the organ on every evening.",
    ),
)
READY = replace(NEWS, event=replace(EVENT, is_ready=True, weakest=(), not_heard=()), left=0)
LONELY = replace(NEWS, next_visit=None, visit_by=(date(2031, 3, 16), date(2031, 3, 22)), faults=())
CASES = {"usual": NEWS, "nothing": NOTHING, "worst": WORST, "ready": READY, "lonely": LONELY}


@pytest.fixture(params=[f"{lang}-{case}" for lang in Language for case in CASES])
def page(request: pytest.FixtureRequest) -> FrontPage:
    language, case = request.param.split("-")
    return front_page(CASES[case], Language(language))


# Words of the trade that mean nothing to most people (common practice, no source). The names of
# stops and divisions are on the knobs of the organ itself and stay.
TRADE = {
    "en": "cent cents merged flue flues reed reeds rank ranks cipher mixture temperament pallet"
    " chest tongue shallot regulation voicing speech overblown windchest division partial"
    " partials hertz beats beat compass bearings unison registration sigma drift"
    " tremulant chiff enclosed id",
    "de": "cent lippenpfeife labialpfeife zungenpfeife zunge heuler temperatur windlade intonation"
    " werk schwebung oktave mixtur stimmton hertz tremulant registrierung sigma prinzipal",
    "fr": "cent cents anche anches bouche fonds cornement tempérament sommier harmonie fourniture"
    " battement hertz tremblant registration sigma rang rangs",
}


def test_every_question_is_answered_or_said_to_be_unknown(page: FrontPage) -> None:
    asked = {question for answer in page.answers for question in answer.questions}
    assert asked == set(Question)
    assert all(answer.words.strip() for answer in page.answers)


def test_the_page_has_at_most_200_words(page: FrontPage) -> None:
    assert counted_words(page.words) <= 200, counted_words(page.words)


def test_no_word_of_the_trade_is_left_unexplained(page: FrontPage) -> None:
    known = set(TRADE[page.language.value].split())
    # People's own words are theirs: what is tested is what the program says.
    said = re.sub(r"[“„«].*?[”“»]", "", page.words.lower())
    assert not known & set(re.findall(r"[^\W\d_]+", said))
    assert not re.search(r"\w+\.\w+:\d|\w+\.\w+\d", page.words), "an id is on the page"


@pytest.mark.parametrize("case", ["usual", "ready", "lonely", "worst"])
def test_the_page_is_easy_to_read(case: str) -> None:
    """Flesch: 60 and more is "standard" to "very easy" in his own table."""
    assert flesch(front_page(CASES[case]).words) >= 70.0
    assert kandel_moles(front_page(CASES[case], Language.FRENCH).words) >= 70.0
    assert vienna(front_page(CASES[case], Language.GERMAN).words) <= 8.0


def test_the_indices_rank_easy_above_hard() -> None:
    """The scale itself, on sentences whose counts are done by hand."""
    # 6 words, 6 syllables: 206.835 - 1.015*6 - 84.6*1
    assert flesch("The cat sat on the mat.") == pytest.approx(116.145)
    assert [syllables(w, silent_e=True) for w in ("we", "tuned", "table", "organ", "louder")] == [
        1,
        1,
        2,
        2,
        2,
    ]
    # 3 words, one of three syllables and more, two of one, one long; one sentence
    text = "Das ist Orgelmusik."
    expected = 0.1935 * 100 / 3 + 0.1672 * 3 + 0.1297 * 100 / 3 - 0.0327 * 200 / 3 - 0.875
    assert vienna(text) == pytest.approx(expected)
    assert len(sentences_of("One. Two! Three?")) == 3


def test_the_event_keeps_its_own_date_warmth_and_stops() -> None:
    said = front_page(NEWS).words.replace("\N{NO-BREAK SPACE}", " ")
    assert "“Lunchtime recital”, Sunday 23 March 2031 at 13:00, in air of 19 °C" in said
    assert "sour on Oboe 8′ (Swell) and Open Diapason 8′ (Great)" in said
    assert "We did not listen to Flute 8′ (Solo) today." in said


def test_a_plan_for_another_warmth_than_the_calendars_is_said() -> None:
    said = front_page(replace(NEWS, tuned_for_celsius=20.0)).words
    said = said.replace("\N{NO-BREAK SPACE}", " ")
    assert "Please heat to 20 °C, not 19 °C: we tuned for that." in said
    assert "not 19" not in front_page(NEWS).words.replace("\N{NO-BREAK SPACE}", " ")


def test_recurring_trouble_comes_first_and_is_called_so() -> None:
    new = FaultNews("cipher", "Trumpet 8′ (Great)", "A3", 1, 2031)
    said = front_page(replace(NEWS, faults=(new, GAMBA))).words.replace("\N{NO-BREAK SPACE}", " ")
    assert "Gamba 8′ (Swell), key D♯3: it is silent. That makes 2 reports since 2028." in said
    assert "1 more fault is listed further on." in said


def test_what_is_unknown_is_marked_so() -> None:
    unknown = {
        question
        for answer in front_page(NOTHING).answers
        if not answer.is_known
        for question in answer.questions
    }
    assert unknown >= {
        Question.READY,
        Question.WHICH_EVENT,
        Question.HEATING,
        Question.NEXT,
        Question.WHY_NEXT,
    }
    # With everything in the book nothing is unknown.
    assert all(answer.is_known for answer in front_page(NEWS).answers)


@pytest.mark.parametrize(
    ("humidity", "words"),
    [
        (0.399, "dry, at 40 %"),  # 40 to 60 %: where organs are usually kept, as build.py has it
        (0.40, "at 40 % humidity: keep it steady"),
        (0.65, "at 65 % humidity: keep it steady"),
        (0.651, "damp, at 65 %"),
        (None, "did not measure"),
    ],
)
def test_dry_and_damp_air_are_called_so_and_sent_to_the_adviser(
    humidity: float | None, words: str
) -> None:
    answers = front_page(replace(NEWS, humidity=humidity)).answers
    said = [a.words for a in answers if Question.CARE in a.questions][-1].replace(
        "\N{NO-BREAK SPACE}", " "
    )
    assert words in said
    assert ("ask your adviser" in said) == words.startswith(("dry", "damp"))


def test_keys_are_named_as_musicians_of_the_language_name_them() -> None:
    # H. von Helmholtz's octaves (c′ is C4) and H for B in German; French solfège counts C4 as do3.
    german, french = phrases(Language.GERMAN), phrases(Language.FRENCH)
    assert [german.key(k) for k in ("C4", "D#3", "A#2", "B2", "C1")] == [
        "c′",
        "dis",
        "B",
        "H",
        "C͵",
    ]
    assert [french.key(k) for k in ("C4", "D#3", "A#3")] == ["do3", "ré♯2", "si♭2"]


@pytest.mark.parametrize("language", Language)
def test_each_language_says_every_kind_of_fault_and_every_text(language: Language) -> None:
    mine, english = phrases(language).texts, phrases(Language.ENGLISH).texts

    def names(table: object, prefix: str = "") -> set[str]:
        if not isinstance(table, dict):
            return {prefix}
        return {n for key, value in table.items() for n in names(value, f"{prefix}.{key}")}

    assert names(mine) == names(english)
    assert set(mine["kind"]) == {kind.value for kind in FaultKind}


@pytest.mark.parametrize("language", Language)
def test_the_pdf_is_tagged_has_its_language_and_keeps_page_1_alone(language: Language) -> None:
    organ = village_organ()
    front = front_page(WORST, language)
    pdf = render_pdf(visit_report(organ, facts(organ), [], front=front))
    catalog = pypdf.PdfReader(io.BytesIO(pdf)).trailer["/Root"]
    assert catalog["/MarkInfo"]["/Marked"]  # type: ignore[index]  # ISO 32000-1, 14.7.1
    assert str(catalog["/Lang"]).startswith(language.value)  # type: ignore[index]
    first, second, *_ = pages(pdf)
    for section in front.sections:
        assert " ".join(section.heading.split()) in first
    assert "For the file" in second
    assert "cents" not in first.lower()


def test_the_page_to_keep_holds_every_word_and_nothing_from_elsewhere() -> None:
    news = replace(NEWS, contact="<A. Hand> & Co.", organ="Harbour Hall")
    html = front_page_html(front_page(news, Language.FRENCH))
    assert '<html lang="fr">' in html
    assert "&lt;A. Hand&gt; &amp; Co" in html
    assert "<script" not in html
    assert "://" not in html
