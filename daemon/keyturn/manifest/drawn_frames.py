"""The manifest's tables for frames that Keyturn draws: a glide, a pan over a picture, a dissolve into a picture.

Positions and sizes are shares of the panel, counted from its top left corner, so that one job fits every radio.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from keyturn.manifest.lettering import Lettering, Text
from keyturn.manifest.values import Art, Share, Table

Ease = Literal["linear", "in", "out", "in-out"]

MOST_FRAMES = 2400
"""Most frames of one glide, pan or crossfade."""

Place = Annotated[float, Field(ge=-10, le=10)]
Point = Annotated[tuple[Place, Place], Field(strict=False)]
Height = Annotated[float, Field(ge=0, le=3)]
Degrees = Annotated[float, Field(ge=-3600, le=3600)]
Amplitude = Annotated[float, Field(ge=0, le=1)]
Times = Annotated[float, Field(ge=0, le=200)]


def _from_and_to(value: object) -> object:
    """Return a single number as a start and an end that are equal."""
    alone = isinstance(value, int | float) and not isinstance(value, bool)
    return (value, value) if alone else value


def _as_table(value: object) -> object:
    """Return the name of a picture as a list of one sprite."""
    return [{"art": value}] if isinstance(value, str) else value


Heights = Annotated[
    tuple[Height, Height],
    Field(strict=False),
    BeforeValidator(_from_and_to, json_schema_input_type=Height | tuple[Height, Height]),
]
SeveralDegrees = Annotated[tuple[Degrees, ...], Field(strict=False, min_length=2, max_length=64)]
Turns = Annotated[SeveralDegrees, BeforeValidator(_from_and_to, json_schema_input_type=Degrees | SeveralDegrees)]


class Length(Table):
    """A length, either in frames or in seconds."""

    frames: Annotated[
        Annotated[int, Field(ge=2, le=MOST_FRAMES)] | None,
        Field(description="How many frames it has, at any rate; or say seconds."),
    ] = None
    seconds: Annotated[
        Annotated[float, Field(gt=0, le=60)] | None,
        Field(description="How long one play lasts, at any rate; or say frames."),
    ] = None

    @model_validator(mode="after")
    def _one_of_two(self) -> Length:
        if (self.frames is None) == (self.seconds is None):
            raise ValueError("needs either frames = 60 (or another number) or seconds = 4, and not both")
        return self

    def count(self, rate: float) -> int:
        """Return the number of frames at `rate` frames a second; at least 2, the first and the last."""
        if self.frames is not None:
            return self.frames
        return max(2, int((self.seconds or 0) * rate + 0.5))


class Track(Lettering):
    """How a sprite moves, and how words look. In [part.glide] it holds for every sprite that does not say otherwise."""

    path: Annotated[
        tuple[Point, ...],
        Field(
            strict=False,
            max_length=64,
            description="Points its middle (or pivot) goes through, [x, y] in shares of the panel from the top left; "
            "below 0 and above 1 is off the panel: [[-0.2, 0.6], [1.2, 0.6]]. One point: it stays there.",
        ),
    ] = ()
    bend: Annotated[bool, Field(description="true: a smooth curve through the points; else straight legs.")] = False
    ease: Annotated[
        Ease,
        Field(description="Its pace: even, gathering speed (in), coming to rest (out), or both."),
    ] = "linear"
    size: Annotated[
        Heights,
        Field(description="Its height, of text a line's, as a share of the panel's: 0.3, or [0.2, 0.4] to grow."),
    ] = (0.25, 0.25)
    turn: Annotated[
        Turns,
        Field(
            description="Degrees it is turned clockwise: 15, [0, 360] to turn while it moves, [-20, 20, -20] to swing."
        ),
    ] = (0.0, 0.0)
    pivot: Annotated[
        Annotated[tuple[Place, Place], Field(strict=False)],
        Field(
            description="The point of it that is on the path and that it turns about, in shares of its own width and "
            "height from its top left: [0.5, 0] hangs it up by the middle of its top edge."
        ),
    ] = (0.5, 0.5)
    bob: Annotated[
        Annotated[tuple[Amplitude, Times], Field(strict=False)],
        Field(description="Up and down along the way: how far, as a share of the panel's height, and how often."),
    ] = (0.0, 0.0)
    repeat: Annotated[int, Field(ge=1, le=100, description="How often it goes along its path.")] = 1
    fade: Annotated[
        Annotated[tuple[Share, Share], Field(strict=False)],
        Field(description="Shares of its way in which it appears and in which it vanishes: [0.2, 0.2]."),
    ] = (0.0, 0.0)

    @model_validator(mode="after")
    def _fades_in_before_out(self) -> Track:
        if sum(self.fade) > 1:
            raise ValueError("fade: appearing and vanishing together are more than the whole way")
        return self


class Sprite(Track):
    """One thing that glides: a picture or words."""

    art: Annotated[Art | None, Field(description='A picture with a see-through ground: "van.png".')] = None
    text: Annotated[Text | None, Field(description="Words in place of a picture.")] = None

    @model_validator(mode="after")
    def _one_thing(self) -> Sprite:
        if (self.art is None) == (self.text is None):
            raise ValueError('needs either art = "van.png" or text = "...", and not both')
        return self


class Glide(Track, Length):
    """Sprites that glide over a still."""

    backdrop: Annotated[Art | None, Field(description="The still behind. Default: the job's background.")] = None
    sprite: Annotated[
        tuple[Sprite, ...],
        Field(strict=False, max_length=12, description="What glides: one picture, or a [[part.glide.sprite]] each."),
        BeforeValidator(_as_table, json_schema_input_type=Art | tuple[Sprite, ...]),
    ] = ()
    text: Annotated[Text | None, Field(description="Words that glide, in place of sprite.")] = None

    @model_validator(mode="after")
    def _something_glides(self) -> Glide:
        if bool(self.sprite) == (self.text is not None):
            raise ValueError('needs either sprite = "van.png", or text = "...", or a [[part.glide.sprite]] each')
        if not all(sprite.path for sprite in self.sprites):
            raise ValueError("needs a path, such as path = [[-0.2, 0.6], [1.2, 0.6]]")
        return self

    @property
    def sprites(self) -> tuple[Sprite, ...]:
        """Return the sprites in drawing order. What a sprite does not set, it takes from the glide."""
        shared = {key: getattr(self, key) for key in self.model_fields_set & Track.model_fields.keys()}
        own = self.sprite or (Sprite(text=self.text),)
        return tuple(_with_shared(sprite, shared) for sprite in own)

    def pictures(self) -> Sequence[str]:
        """Return the pictures it is made from, as the manifest names them."""
        return [name for name in (self.backdrop, *(s.art for s in self.sprites)) if name]


def _with_shared(sprite: Sprite, shared: dict[str, object]) -> Sprite:
    return sprite.model_copy(update={key: shared[key] for key in shared if key not in sprite.model_fields_set})


class Pan(Length):
    """A slow move over one still, from one stretch of it to another."""

    start: Annotated[
        Annotated[tuple[Share, Share, Share, Share], Field(strict=False)],
        Field(alias="from", description="The stretch shown first: left, top, right, bottom in shares of the picture."),
    ] = (0.0, 0.0, 1.0, 1.0)
    stop: Annotated[
        Annotated[tuple[Share, Share, Share, Share], Field(strict=False)],
        Field(alias="to", description="The stretch shown last: [0.2, 0.1, 0.8, 0.7]."),
    ] = (0.0, 0.0, 1.0, 1.0)
    ease: Annotated[Ease, Field(description="Its pace: linear, in, out or in-out.")] = "in-out"

    @model_validator(mode="after")
    def _stretches_have_an_area(self) -> Pan:
        for left, top, right, bottom in (self.start, self.stop):
            if right - left < 0.01 or bottom - top < 0.01:
                raise ValueError("from and to are left, top, right, bottom: right beyond left, bottom beyond top")
        return self


class Crossfade(Length):
    """A dissolve of another picture into the part's first, of the part's last into another, or both."""

    start: Annotated[
        Art | None,
        Field(alias="from", description='The picture it begins with: "dawn.png", or "logo" for the boot logo.'),
    ] = None
    to: Annotated[Art | None, Field(description='The picture it ends in: "night.png".')] = None

    @model_validator(mode="after")
    def _at_least_one_end(self) -> Crossfade:
        if self.start is None and self.to is None:
            raise ValueError('needs to = "night.png" (the part ends in it) or from = "logo" (it begins with it)')
        return self
