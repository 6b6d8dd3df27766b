"""The manifest's keys for words that Keyturn draws: typeface, colour, outline, shadow, and how they are laid out.

Lengths of the letters themselves (outline, shadow) are shares of a line's height, so that they grow with the words.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from keyturn.manifest.values import Art, Colour, Share, Table, lines_of_text

Align = Literal["left", "centre", "right"]

Text = Annotated[str, Field(max_length=200), AfterValidator(lines_of_text)]
Place = Annotated[float, Field(ge=-10, le=10)]
Width = Annotated[float, Field(gt=0, le=1)]


def _as_colour(value: object) -> object:
    """Return a colour as a table of its own."""
    return {"colour": value} if isinstance(value, str) else value


def _as_texts(value: object) -> object:
    """Return words as a list of one text."""
    return [{"text": value}] if isinstance(value, str) else value


class Outline(Table):
    """A line around letters."""

    colour: Annotated[Colour, Field(description="Its colour.")] = "#000000"
    width: Annotated[
        float, Field(gt=0, le=0.25, description="How far it stands out, as a share of a line's height.")
    ] = 0.04


class Shadow(Table):
    """A shadow under letters."""

    colour: Annotated[Colour, Field(description="Its colour.")] = "#000000"
    offset: Annotated[
        tuple[Annotated[float, Field(ge=-1, le=1)], Annotated[float, Field(ge=-1, le=1)]],
        Field(strict=False, description="How far it lies to the right and down, as shares of a line's height."),
    ] = (0.04, 0.06)
    blur: Annotated[float, Field(ge=0, le=0.5, description="How soft it is, as a share of a line's height.")] = 0.04
    opacity: Annotated[Share, Field(description="From 0, not to be seen, to 1.")] = 0.6


class Lettering(Table):
    """How words look. In [part.glide] it holds for every sprite that does not say otherwise."""

    font: Annotated[
        Art | None,
        Field(
            description='Of text: a TTF, OTF or WOFF2 file of the drop or of the shop: "brand.ttf". '
            "Default: Keyturn's own typeface."
        ),
    ] = None
    weight: Annotated[
        Annotated[int, Field(ge=1, le=1000)] | None,
        Field(description="Of a variable font: how bold, 400 is regular and 700 bold."),
    ] = None
    colour: Annotated[Colour, Field(description="The colour of text.")] = "#ffffff"
    outline: Annotated[
        Outline | None,
        Field(description='A line around the letters: "#000000", or { colour = "#000000", width = 0.04 }.'),
        BeforeValidator(_as_colour, json_schema_input_type=Colour | Outline | None),
    ] = None
    shadow: Annotated[
        Shadow | None,
        Field(
            description='A shadow under the letters: "#000000", or '
            '{ colour = "#000000", offset = [0.04, 0.06], blur = 0.04, opacity = 0.6 }.'
        ),
        BeforeValidator(_as_colour, json_schema_input_type=Colour | Shadow | None),
    ] = None
    align: Annotated[Align, Field(description="Of text in several lines: left, centre or right.")] = "centre"
    wrap: Annotated[
        Width | None,
        Field(description="Text is broken into lines of this width at most, as a share of the panel's."),
    ] = None
    fit: Annotated[
        Width | None,
        Field(description="Text is made smaller until it is this wide at most, as a share of the panel's."),
    ] = None

    @property
    def of_old(self) -> bool:
        """Whether it says nothing of text but its colour."""
        return not {"font", "weight", "outline", "shadow", "align", "wrap", "fit"} & self.model_fields_set


class LogoText(Lettering):
    """Words on the boot logo."""

    text: Annotated[Text, Field(description="The words.")]
    place: Annotated[
        Annotated[tuple[Place, Place], Field(strict=False)],
        Field(description="Where its middle (or pivot) is, in shares of the panel from the top left."),
    ] = (0.5, 0.5)
    size: Annotated[float, Field(gt=0, le=3, description="A line's height as a share of the panel's.")] = 0.1
    turn: Annotated[float, Field(ge=-3600, le=3600, description="Degrees it is turned clockwise.")] = 0.0
    pivot: Annotated[
        Annotated[tuple[Place, Place], Field(strict=False)],
        Field(
            description="The point of it that is at place and that it turns about, in shares of its own width and "
            "height from its top left: [0, 0.5] puts its left edge there."
        ),
    ] = (0.5, 0.5)


LogoTexts = Annotated[
    tuple[LogoText, ...],
    Field(strict=False, max_length=6),
    BeforeValidator(_as_texts, json_schema_input_type=Text | tuple[LogoText, ...]),
]
