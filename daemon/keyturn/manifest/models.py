"""The manifest of a drop, `job.toml`: what the artist wants. Each default is what a person would guess."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Field, ValidationInfo, field_validator, model_validator

from keyturn.manifest.drawn_frames import MOST_FRAMES, Crossfade, Glide, Pan
from keyturn.manifest.lettering import LogoTexts
from keyturn.manifest.values import Art, Colour, Share, Table, Words, rgb
from keyturn.shop.folding import folded
from keyturn.shop.language_codes import LanguageCode

CALIBRATION = "Calibration"
"""Whose films of a radio are, where the manifest names no customer: the shop's own."""

FILE_NAME = "job.toml"
"""The manifest's name in the drop."""

MOST_VEHICLES = 100
"""Of one job: its card prints a page for each."""


def _as_list(value: object) -> object:
    return [value] if isinstance(value, str) else value


Plays = Annotated[int, Field(ge=1, le=10_000)] | Literal["until-booted"]
Cells = Annotated[int, Field(ge=1, le=500)]
Pixels = Annotated[int, Field(ge=0, le=2000)]


class LogoTable(Table):
    art: Annotated[
        Art | None,
        Field(description='The boot logo: a picture of the drop, or "first-frame". Default: logo.* or frame 1.'),
    ] = None
    text: Annotated[LogoTexts, Field(description="Words on the boot logo: a [[logo.text]] each.")] = ()


class Motion(Table):
    fps: Annotated[
        Annotated[int, Field(ge=1, le=60)] | Literal["auto"],
        Field(description='Frames a second, or "auto": as slow as finishes in time and still looks like motion.'),
    ] = "auto"
    finish: Annotated[
        float,
        Field(gt=0, le=1, description="Share of starts in which the parts that play once must finish."),
    ] = 0.95
    thin: Annotated[
        bool,
        Field(description="May frames be left out, evenly, where the radio cannot play them all in time?"),
    ] = False


class Part(Table):
    art: Annotated[
        Art | None,
        Field(description='Pictures of this part: "lamps/*.png", one picture, or a clip: a GIF, APNG, WebP or a film.'),
    ] = None
    glide: Annotated[Glide | None, Field(description="In place of art: pictures or words that glide.")] = None
    plays: Annotated[Plays, Field(description='How often it runs: a number or "until-booted".')] = 1
    pause: Annotated[float, Field(ge=0, le=60, description="Seconds of rest after each play.")] = 0.0
    start: Annotated[float | None, Field(ge=0, le=36_000, description="Of a clip: where it begins, in seconds.")] = None
    stop: Annotated[
        float | None, Field(gt=0, le=36_000, description="Of a clip: where it ends, in seconds from its own beginning.")
    ] = None
    backdrop: Annotated[
        Art | None,
        Field(description="A still that lies behind every picture of this part; see-through areas show it."),
    ] = None
    reverse: Annotated[bool, Field(description="Plays backwards.")] = False
    there_and_back: Annotated[bool, Field(description="Plays forwards and then backwards.")] = False
    pan: Annotated[Pan | None, Field(description="A slow move over the one picture of art, from and to.")] = None
    sheet: Annotated[
        tuple[Cells, Cells] | None,
        Field(strict=False, description="art is a sheet of frames: how many columns and rows it has."),
    ] = None
    margin: Annotated[Pixels, Field(description="Of a sheet: pixels around all of its frames.")] = 0
    gap: Annotated[Pixels, Field(description="Of a sheet: pixels between two of its frames.")] = 0
    crossfade: Annotated[
        Crossfade | None,
        Field(
            description='Its last picture dissolves into another: { to = "night.png", frames = 24 }; '
            'or another into its first: { from = "logo", seconds = 1 }.'
        ),
    ] = None
    hold_screen: Annotated[
        Words | None,
        Field(
            description="Why this part may keep the screen after the radio has booted. Leave it out: "
            "a part with it delays the home screen and the reversing camera."
        ),
    ] = None

    @model_validator(mode="after")
    def _made_of_one_thing(self) -> Part:
        if (self.art is None) == (self.glide is None):
            raise ValueError('needs either art = "lamps/*.png" or a [part.glide] table, and not both')
        if self.glide and (self.backdrop or self.pan):
            raise ValueError("has a glide, whose backdrop stands in [part.glide]; it takes no backdrop or pan here")
        if self.glide and (self.start is not None or self.stop is not None):
            raise ValueError("has a glide; start and stop cut a clip")
        return self

    @model_validator(mode="after")
    def _sheet_is_one_still(self) -> Part:
        if self.sheet is None:
            if self.margin or self.gap:
                raise ValueError("has a margin or gap; these are of a sheet: write sheet = [columns, rows] as well")
            return self
        if self.glide or self.pan or self.start is not None or self.stop is not None:
            raise ValueError("has a sheet, which is cut into frames; it takes no glide, pan, start or stop")
        if self.sheet[0] * self.sheet[1] > MOST_FRAMES:
            raise ValueError(f"sheet holds more than {MOST_FRAMES} frames")
        return self

    @model_validator(mode="after")
    def _stops_after_it_starts(self) -> Part:
        if self.stop is not None and self.stop <= (self.start or 0.0):
            raise ValueError(f"stop = {self.stop:g} is not after start = {self.start or 0.0:g}")
        return self

    @property
    def lasts_seconds(self) -> bool:
        """Does the part have a glide, pan or crossfade whose length is given in seconds?"""
        return any(drawn and drawn.seconds for drawn in (self.glide, self.pan, self.crossfade))


def _customer_or_each(schema: dict[str, Any]) -> None:
    """Let an editor that completes job.toml take `each` in the place of customer and radio."""
    schema["anyOf"] = [{"required": schema.pop("required")}, {"required": ["each"]}]


class Manifest(Table):
    """What `job.toml` says. Field order is the order of the work."""

    model_config = ConfigDict(
        frozen=True, extra="forbid", strict=True, title="Keyturn job manifest", json_schema_extra=_customer_or_each
    )

    customer: Annotated[Words, Field(description="Whose radio this is; one proof sheet a customer.")]
    radio: Annotated[
        tuple[Words, ...],
        Field(strict=False, min_length=1, max_length=12, description="One radio or a list of radios."),
        BeforeValidator(_as_list, json_schema_input_type=Words | tuple[Words, ...]),
    ]
    job: Annotated[Words | None, Field(description="Name of the job. Default: the folder's name.")] = None
    vehicles: Annotated[
        tuple[Words, ...],
        Field(strict=False, max_length=MOST_VEHICLES, description="The vehicles that it is fitted into, one by one."),
        BeforeValidator(_as_list, json_schema_input_type=Words | tuple[Words, ...]),
    ] = ()
    vehicle: Annotated[Words | None, Field(description="In place of vehicles, where it is one.")] = None
    artist: Annotated[Words | None, Field(description="Who drew it.")] = None
    each: Annotated[
        Art | None,
        Field(description='A table with one job a row, as a spreadsheet program saves it: "fleet.csv".'),
    ] = None
    each_good: Annotated[
        bool, Field(description="Of a table with faulty rows: makes the right ones, and refuses the others alone.")
    ] = False
    language: Annotated[
        LanguageCode | None,
        Field(
            description='Of the customer\'s sheet: "en", "de", "es", "fr", "pt", "pl" or "ar". Default: the shop\'s.'
        ),
    ] = None
    stock: Annotated[
        bool, Field(description="These are the files that the radio came with: they are kept as the way back.")
    ] = False
    calibrate: Annotated[
        Words | None,
        Field(description="A radio: the films in the drop are of its starts with the calibration stick."),
    ] = None
    rush: Annotated[bool, Field(description="Goes before the other waiting drops.")] = False
    background: Annotated[Colour, Field(description="What transparency is laid on.")] = "#000000"
    fit: Annotated[
        Literal["cover", "contain"],
        Field(description="cover fills the panel and crops; contain shows all and leaves margins."),
    ] = "cover"
    focus: Annotated[
        tuple[Share, Share],
        Field(strict=False, description="What cover keeps: shares of width and height from the top left."),
    ] = (0.5, 0.5)
    logo: Annotated[LogoTable, Field(description="The still that stands before the animation.")] = LogoTable()
    motion: Annotated[Motion, Field(description="Rate and timing.")] = Motion()
    part: Annotated[
        tuple[Part, ...],
        Field(strict=False, max_length=60, description="The parts of the animation in playing order."),
    ] = ()

    @model_validator(mode="before")
    @classmethod
    def _named_elsewhere(cls, written: Any) -> Any:
        """Let a fleet's table name customer and radio, and `calibrate` the radio, where the manifest does not."""
        if not isinstance(written, dict):
            return written
        if "each" in written:
            return {"customer": "{customer}", "radio": "{radio}"} | written
        if "calibrate" in written:
            return {"customer": CALIBRATION, "radio": written["calibrate"]} | written
        return written

    @field_validator("radio")
    @classmethod
    def _no_radio_twice(cls, radios: tuple[str, ...]) -> tuple[str, ...]:
        if len(set(map(folded, radios))) < len(radios):
            raise ValueError("names a radio twice")
        return radios

    @field_validator("vehicles")
    @classmethod
    def _no_vehicle_twice(cls, vehicles: tuple[str, ...]) -> tuple[str, ...]:
        if len({" ".join(vehicle.casefold().split()) for vehicle in vehicles}) < len(vehicles):
            raise ValueError("names a vehicle twice")
        return vehicles

    @field_validator("vehicle")
    @classmethod
    def _one_way_to_name_vehicles(cls, vehicle: str | None, info: ValidationInfo) -> str | None:
        if vehicle and info.data.get("vehicles"):
            raise ValueError("stands beside vehicles: leave vehicle out, and name all of them in vehicles")
        return vehicle

    @field_validator("stock")
    @classmethod
    def _stock_is_of_one_radio(cls, stock: bool, info: ValidationInfo) -> bool:
        if stock and (len(info.data.get("radio", ())) > 1 or info.data.get("each")):
            raise ValueError("is for one customer and one radio: put in a drop for each, with that radio's files")
        return stock

    @property
    def every_vehicle(self) -> tuple[str, ...]:
        """Return the vehicles that the job is for; none where it does not say."""
        return (self.vehicle,) if self.vehicle else self.vehicles

    @property
    def ground(self) -> tuple[int, int, int]:
        """Return the background as 8-bit sRGB."""
        return rgb(self.background)
