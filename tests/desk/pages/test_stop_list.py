"""A tuner pastes a stop list, checks the guesses, answers the questions and adds the organ."""

from __future__ import annotations

import io

import openpyxl
from playwright.sync_api import Page

from tests.desk.conftest import Open, Server
from tests.desk.looking import look_at
from walkboard.organ.reading import read_organ
from walkboard.work.snapshot import opened_to_see

# Twenty-two stops as an English organist types them, one misspelt, one that nobody knows.
STOPS = """St Alkelda's, Sallowby
GREAT ORGAN  CC to g3, 56 notes
1. Double Diapason 16
2. Open Diapason 8
3. Stopd Diapason 8
4. Dulciana 8
5. Principal 4
6. Harmonic Flute 4
7. Twelfth 2 2/3
8. Fifteenth 2
9. Mixture III (15.19.22)
10. Trumpet 8
SWELL ORGAN
11. Lieblich Bourdon 16
12. Violin Diapason 8
13. Salicional 8
14. Voix Celeste (TC) 8
15. Gemshorn 4
16. Flautina 2
17. Cornopeon 8
18. Oboe 8
19. Wimbleton 8
Tremulant
PEDAL ORGAN 30 notes
20. Open Wood 16
21. Bourdon 16
22. Bass Flute (from 21) 8
Swell to Great
Great to Pedal
A = 440 Hz at 18 C
Equal temperament
"""


def settled(page: Page) -> None:
    page.wait_for_selector('body[data-reading="no"]')


def state_of(page: Page, line: str) -> str | None:
    return page.locator(f'tr[data-key="{line}#1"]').get_attribute("data-state")


def test_from_the_paste_to_a_checked_description_of_22_stops(
    own_server: Server, open_page: Open
) -> None:
    page = open_page(f"{own_server.address}/organs/new")
    page.fill("#stops", STOPS)
    page.wait_for_selector('#rows tr[data-state="asked"]')
    settled(page)
    assert page.locator("#rows tr.stop").count() == 21
    assert "1 line to answer" in page.inner_text("#counts")
    # a misspelling was guessed: the tuner says that it is right, with the mouse
    assert state_of(page, "17. Cornopeon 8") == "guessed"
    page.locator('tr[data-key="17. Cornopeon 8#1"] button').click()
    page.wait_for_selector('tr[data-key="17. Cornopeon 8#1"][data-state="understood"]')
    # the unknown stop is answered with the keyboard alone
    asked = page.locator('tr[data-key="19. Wimbleton 8#1"] select[data-field="family"]')
    asked.focus()
    page.keyboard.type("stop")
    page.keyboard.press("Tab")
    page.wait_for_selector('tr[data-key="19. Wimbleton 8#1"][data-state="understood"]')
    # the swell has as many keys as the great: guessed, and changed in the table
    keys = page.locator('tr[data-key="SWELL ORGAN#1"] input[data-field="keys"]')
    assert keys.input_value() == "56"
    keys.fill("58")
    keys.press("Enter")
    page.wait_for_selector('tr[data-key="SWELL ORGAN#1"][data-state="understood"]')
    settled(page)
    assert "line" not in page.inner_text("#counts")
    assert page.locator("#problems li").count() == 0
    page.click("#add")
    page.wait_for_selector("#ranks")
    with opened_to_see(own_server.book) as book:
        kept = book.organs()[-1]
        organ = read_organ(kept.description)
    assert organ.name == "St Alkelda's, Sallowby"
    assert len(organ.stops) == 22
    assert organ.division("swell").keys == 58
    assert organ.rank("swell.wimbleton8").family == "stopped"
    assert organ.rank("swell.voix-celeste8").from_key.name == "C3"
    assert [c.id for c in organ.couplers] == ["swell-to-great", "great-to-pedal"]


def test_the_three_states_differ_in_sign_words_and_shape(server: Server, open_page: Open) -> None:
    page = open_page(f"{server.address}/organs/new")
    page.fill("#stops", "Great 56 notes\nOpen Diapason 8\nMixture\nWimbleton 8")
    page.wait_for_selector('#rows tr[data-state="asked"]')
    heads = page.locator("#rows tbody th").all_inner_texts()
    assert [head[0] for head in heads[1:]] == ["✓", "≈", "?"]
    assert ["understood" in heads[1], "guessed" in heads[2], "not understood" in heads[3]] == [
        True
    ] * 3
    edges = [
        page.locator(f"#rows tbody tr:nth-child({n}) th").evaluate(
            "e => getComputedStyle(e).borderLeftStyle + getComputedStyle(e).borderLeftColor"
        )
        for n in (2, 3, 4)
    ]
    assert len(set(edges)) == 3
    assert "does not say how many ranks" in page.inner_text("#rows")
    assert "What kind of stop is Wimbleton?" in page.inner_text("#rows")


def test_a_change_stays_with_its_line_when_lines_are_put_above_it(
    server: Server, open_page: Open
) -> None:
    page = open_page(f"{server.address}/organs/new")
    page.fill("#stops", "Great 56 notes\nFlute 8\nTrumpet 8")
    page.wait_for_selector("#rows tr.stop")
    feet = page.locator('tr[data-key="Trumpet 8#1"] input[data-field="feet"]')
    feet.fill("16")
    feet.press("Tab")
    settled(page)
    page.fill("#stops", "Great 56 notes\nPrincipal 4\nFlute 8\nTrumpet 8")
    page.wait_for_selector('tr[data-key="Principal 4#1"]')
    settled(page)
    assert feet.input_value() == "16"
    assert page.locator('tr[data-key="Flute 8#1"] input[data-field="feet"]').input_value() == "8"


def test_the_organ_is_drawn_and_a_script_in_the_list_is_shown_harmless(
    server: Server, open_page: Open
) -> None:
    page = open_page(f"{server.address}/organs/new")
    mean = "<img src=x onerror=document.title='caught'> Flute 8"
    page.fill(
        "#stops", f"<b>Caught</b>\nGreat 56 notes\nOpen Diapason 8\n{mean}\nPedal\nBourdon 16"
    )
    page.wait_for_selector("svg.organ")
    assert page.locator("svg.organ path.bar").count() >= 2
    assert "Open Diapason" in (page.locator("svg.organ").text_content() or "")
    assert page.title() != "caught"


def test_a_workbook_is_read_from_its_file(server: Server, open_page: Open) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["Division", "Stop", "Pitch"], ["Great", "Trumpet", 8], ["Pedal", "Bourdon", 16]):
        sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    page = open_page(f"{server.address}/organs/new")
    page.set_input_files(
        "#file",
        {"name": "stops.xlsx", "mimeType": "application/zip", "buffer": stream.getvalue()},
    )
    page.wait_for_selector("#rows tr.stop")
    settled(page)
    assert page.locator("#rows tr.stop").count() == 2


def test_the_filled_page_is_accessible_and_fits(server: Server, open_page: Open) -> None:
    page = open_page(f"{server.address}/organs/new")
    page.fill("#stops", STOPS)
    page.wait_for_selector('#rows tr[data-state="asked"]')
    settled(page)
    look_at(page, "stop-list-filled")


def test_a_cell_of_the_kept_description_changes_one_line_of_its_text(
    server: Server, open_page: Open
) -> None:
    page = open_page(f"{server.address}/organ/1/description")
    before = page.input_value("#text")
    page.click("#ranks-edit summary")
    feet = page.get_by_label("Pipes of swell.oboe8")
    feet.fill("40")
    with page.expect_response("**/organs/check"):  # the text changed, and is checked again
        feet.press("Enter")
    after = page.input_value("#text")
    changed = [(a, b) for a, b in zip(before.split("\n"), after.split("\n"), strict=True) if a != b]
    assert changed == [("pipes = 42", "pipes = 40")]
