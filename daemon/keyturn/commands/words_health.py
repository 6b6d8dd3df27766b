"""What `keyturn doctor` says of words: whether every script can be set, and of the shop's fonts."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.util import find_spec

from PIL import features

from keyturn.commands.finding import Finding, Health, well
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import Refused, ShopFault
from keyturn.shop.shop_fonts import ShopFonts


def words(shop: Shop) -> Iterator[Finding]:
    """Tell which scripts words may be in, and which of the shop's fonts cannot be used."""
    yield _scripts()
    if find_spec("fontpkg_noto_sans") is None:
        what = "Keyturn's own typeface is not there: words in Greek and Cyrillic are refused"
        yield Finding(Health.ILL, what, "install Keyturn anew, with its dependencies: fontpkg-noto-sans")
    yield from _fonts(shop)


def _scripts() -> Finding:
    from keyturn.flatten.fonts import shapes_any_script

    if shapes_any_script():
        versions = ", ".join(f"{name} {features.version(name.lower())}" for name in ("Raqm", "HarfBuzz", "FriBidi"))
        return well(f"words in every script can be set ({versions})")
    if features.check("raqm"):
        remedy = "install FriBidi (Debian: apt install libfribidi0) and start the service anew"
    else:
        remedy = "install Pillow from its own wheels, and FriBidi (Debian: apt install libfribidi0)"
    return Finding(
        Health.MIND, "Pillow has no Raqm: words whose letters join or run from right to left are refused", remedy
    )


def _fonts(shop: Shop) -> Iterator[Finding]:
    """Read the shop's fonts in a worker, as for a drop."""
    from keyturn.flatten.fonts import FontFile
    from keyturn.flatten.set_words import FontJob, check_font
    from keyturn.workers.crew import LocalCrew

    try:
        intake, files = rulebook.load(shop.rules).intake, ShopFonts(shop.fonts).files()
    except ShopFault:
        return  # the look at the rules reports it
    except OSError:
        yield Finding(Health.ILL, f"{shop.fonts} cannot be read", "give Keyturn's user the right to read there")
        return
    if not files:
        return
    crew = LocalCrew(1, intake.workers)
    sound = 0
    try:
        jobs = [FontJob(FontFile(path, path.name), intake) for path in files]
        for path, result in zip(files, crew.run(check_font, jobs, lambda job: job.file.name), strict=True):
            if isinstance(result, Refused):
                reason = result.reasons[0]
                yield Finding(Health.MIND, f"fonts/{path.name} is left out: it {reason.what}", reason.mend)
            sound += not isinstance(result, Refused)
    except OSError as error:
        yield Finding(
            Health.ILL, f"a font cannot be read: {error}", f"let Keyturn's user read the files in {shop.fonts}"
        )
    finally:
        crew.close()
    if sound:
        yield well(f"{sound} {'font' if sound == 1 else 'fonts'} of the shop can be used for words")
