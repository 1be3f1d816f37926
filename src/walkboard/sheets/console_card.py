"""The card for the console: what a player does when something sounds wrong."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from walkboard.languages.translation import Own


@dataclass(frozen=True, slots=True)
class ConsoleCard:
    """An A6 card with a QR code.

    Attributes
    ----------
    organ : str
    address : str
        The address in the code, as text.
    square : str
        The square as SVG.
    day : date
        Day of printing; the date of the document.
    title, heading, how, manners, alt : str
        As text.
    language : str
        BCP 47 code of the text's language.
    """

    organ: str
    address: str
    square: str
    day: date
    title: str
    heading: str
    how: str
    manners: str
    alt: str
    language: str = "en"


def console_card(organ: str, address: str, square: str, day: date) -> ConsoleCard:
    """The card of an organ.

    Parameters
    ----------
    organ : str
        Its name.
    address : str
        Address of the form.
    square : str
        A QR code (ISO/IEC 18004) of it as SVG.
    day : date
    """
    return ConsoleCard(
        organ=Own(organ),
        address=address,
        square=square,
        day=day,
        title=f"Card for the console: {organ}",
        heading="Something sounds wrong?",
        how="Point your phone's camera at the square, or open the address, and say what you "
        "noticed. The phone must be on the same network.",
        manners="Please leave the case closed: ladders, wind and mains are inside.",
        alt="Square code with the address below it.",
    )
