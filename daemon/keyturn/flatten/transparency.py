"""See-through pictures laid on the job's background or on a backdrop: radios get no transparency."""

from __future__ import annotations

from PIL import Image

Colour = tuple[int, int, int]


def flatten(image: Image.Image, background: Colour, backdrop: Image.Image | None = None) -> Image.Image:
    """Return `image` (RGB or RGBA) over `backdrop`, over `background`, as opaque RGB of the image's size.

    Each value is round((alpha x colour + (255 - alpha) x ground) / 255) of the sRGB values as they stand. That is
    "source over" (W3C Compositing and Blending, level 1, 9.1.4) as paint programs do it, without linear light. Raise
    ValueError where the backdrop has another size.
    """
    if backdrop is not None and backdrop.size != image.size:
        raise ValueError(f"backdrop of {backdrop.size} under a picture of {image.size}")
    if image.mode == "RGB":
        return image
    if backdrop is None:
        ground = Image.new("RGB", image.size, background)
    else:
        ground = flatten(backdrop, background).copy()
    ground.paste(image.convert("RGB"), (0, 0), image)  # by its alpha; rounds exactly
    return ground
