"""What `keyturn doctor` says of the shop's name and logo, which stand on its papers."""

from __future__ import annotations

from collections.abc import Iterator

from keyturn.commands.finding import Finding, Health, well
from keyturn.shop import settings
from keyturn.shop.folders import Shop
from keyturn.shop.reasons import ShopFault


def papers(shop: Shop) -> Iterator[Finding]:
    """Tell whether customers and fitters can see whose papers they hold."""
    try:
        named = settings.load(shop.root).shop
    except (ShopFault, OSError):
        return  # the look at the settings reports it
    if not named.name:
        what = "the shop's name is not on sheets, cards, the board and INSTALL.txt"
        yield Finding(Health.MIND, what, f"write name and mail under [shop] in {settings.FILE_NAME}")
    elif not named.mail:
        what = "the shop has no mail address, so a sheet does not say where an answer goes"
        yield Finding(Health.MIND, what, f"write mail under [shop] in {settings.FILE_NAME}")
    else:
        yield well(f"sheets, cards and the board bear the name {named.name}")
    if named.logo:
        yield from _logo(shop, named.logo)


def _logo(shop: Shop, logo: str) -> Iterator[Finding]:
    from keyturn.shop.papers import logo_picture

    try:
        logo_picture(shop.root / logo)
    except OSError as error:
        why = error.strerror or error
        remedy = "put a picture there that Keyturn's user can read, or change logo under [shop]"
        yield Finding(Health.MIND, f"the shop's logo {logo} is left out: {why}", remedy)
    except ValueError as error:
        yield Finding(Health.MIND, f"the shop's logo {logo} is left out: {error}", "save it as PNG or JPEG")
