"""Which picture of a drop is the boot logo."""

from keyturn.renumber.logo import is_logo


def test_a_loose_picture_called_logo_is_the_logo():
    assert [is_logo(name) for name in ("Logo.PNG", "logo.psd", "lamps/logo.png", "1.png")] == [True, True, False, False]
