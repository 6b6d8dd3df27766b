"""What was learnt, in the shop's own profile of the radio."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from calibration_samples import ADDITIVE, DAY, RADIOS, changed
from keyturn import calibrate
from keyturn.calibrate.profile import KEPT
from keyturn.radio.boot import BootModel
from keyturn.renumber import planned_parts
from keyturn.shop import rulebook
from keyturn.shop.folders import Shop
from keyturn.shop.radio_profile import Radio
from keyturn.shop.reasons import ShopFault


@pytest.mark.parametrize("radio", RADIOS.values(), ids=RADIOS)
def test_what_was_learnt_comes_back_from_the_rulebook(radio: Radio, tmp_path: Path) -> None:
    learnt = calibrate.learn(radio, 10, [12.0, 12.5], [16.0, 16.7])
    stored = calibrate.store(tmp_path, radio, learnt, on=DAY)
    assert stored.path == tmp_path / "radios" / f"{radio.name}.toml"
    assert (stored.kept, stored.added, stored.dropped) == (0, 2, 0)
    loaded = rulebook.load(tmp_path).radios[radio.name]
    assert BootModel.of_radio(loaded).spread == pytest.approx((16.0, 16.35, 16.7))
    assert learnt.interval is not None
    assert planned_parts.pacing(loaded, 10).interval_s == pytest.approx(learnt.interval.seconds, abs=1e-6)
    assert loaded.boot.source.startswith("measured in this shop on 2026-03-01, 2 starts")
    assert radio.boot.source in loaded.boot.source  # where the three figures come from is still told
    assert without(loaded) == without(radio)


def without(radio: Radio) -> object:
    """Return every value that calibration does not change."""
    kept = radio.model_dump()
    for table, keys in {"boot": ("source", "samples"), "limits": ("source", "decode_ms_per_mpx", "draw_ms")}.items():
        for key in keys:
            del kept[table][key]
    return kept


def test_a_radio_without_a_file_is_written_whole(tmp_path: Path) -> None:
    radio = changed(ADDITIVE, "panel", width=48, source='a "quoted" \\ source\nof two lines').model_copy(
        update={"name": "ours"}
    )
    learnt = calibrate.learn(radio, 10, [12.0], None)
    calibrate.store(tmp_path, radio, learnt, on=DAY)
    loaded = rulebook.load(tmp_path).radios["ours"]
    assert without(loaded) == without(radio)
    assert loaded.limits == radio.limits  # nothing was filmed, so nothing is known better


def test_the_shop_s_own_profile_keeps_its_values_its_remarks_and_its_starts(shop: Shop, tiny: Radio) -> None:
    path = shop.rules / "radios" / "tiny.toml"
    text = path.read_text(encoding="utf-8").replace("fps_max = 30", "fps_max = 12   # flickers above")
    path.write_text(text.replace("longest = 21", "longest = 21\nsamples = [15.5,\n  16.5]  # by stop-watch"))
    learnt = calibrate.learn(tiny, 10, [12.0], [16.0])
    stored = calibrate.store(shop.rules, tiny, learnt, on=DAY)
    loaded = rulebook.load(shop.rules).radios["tiny"]
    assert (stored.kept, stored.added) == (2, 1)
    assert (loaded.limits.fps_max, loaded.boot.samples) == (12, (15.5, 16.5, 16.0))
    written = path.read_text(encoding="utf-8")
    assert "# flickers above" in written and "# by stop-watch" in written
    assert [p.name for p in path.parent.iterdir()] == ["tiny.toml"]


def test_a_profile_of_inline_tables_is_kept_as_it_is_written(tmp_path: Path) -> None:
    text = (rulebook.SHIPPED / "radios" / f"{ADDITIVE.name}.toml").read_text(encoding="utf-8")
    start, end = text.index("[boot]"), text.index("[logo]")
    text = text[:start] + text[end:]
    inline = 'boot = {source = "by hand", shortest = 10, usual = 12, longest = 13}\n'
    (tmp_path / "radios").mkdir()
    (tmp_path / "radios" / f"{ADDITIVE.name}.toml").write_text(inline + text, encoding="utf-8")
    learnt = calibrate.learn(ADDITIVE, 10, [10.0], [13.0])
    calibrate.store(tmp_path, ADDITIVE, learnt, on=DAY)
    boot = rulebook.load(tmp_path).radios[ADDITIVE.name].boot
    assert (boot.shortest, boot.longest, boot.samples) == (10, 13, (13.0,))


def test_calibrating_again_does_not_pile_up_sources(shop: Shop, tiny: Radio) -> None:
    for day in (1, 2, 3):
        learnt = calibrate.learn(tiny, 10, [12.0], [16.0])
        calibrate.store(shop.rules, tiny, learnt, on=date(2026, 3, day))
    loaded = rulebook.load(shop.rules).radios["tiny"]
    for source in (loaded.boot.source, loaded.limits.source):
        assert source.count("measured in this shop") == 1 and "2026-03-03" in source
    assert tiny.limits.source in loaded.limits.source and tiny.boot.source in loaded.boot.source


def test_only_the_last_starts_are_kept(shop: Shop, tiny: Radio) -> None:
    first = calibrate.learn(tiny, 10, [n / 10 for n in range(100, 100 + KEPT - 1)], None)
    calibrate.store(shop.rules, tiny, first, on=DAY)
    second = calibrate.learn(tiny, 10, [20.0, 20.1, 20.2], None)
    stored = calibrate.store(shop.rules, tiny, second, on=DAY)
    assert (stored.kept, stored.added, stored.dropped) == (KEPT - 3, 3, 2)
    samples = rulebook.load(shop.rules).radios["tiny"].boot.samples
    assert samples == (*first.boot_s[2:], *second.boot_s)


def test_a_broken_profile_is_not_replaced(shop: Shop, tiny: Radio) -> None:
    path = shop.rules / "radios" / "tiny.toml"
    path.write_text("title = half a li", encoding="utf-8")
    with pytest.raises(ShopFault, match=r"tiny\.toml"):
        calibrate.store(shop.rules, tiny, calibrate.learn(tiny, 10, [12.0], None), on=DAY)
    assert path.read_text(encoding="utf-8") == "title = half a li"


def test_boots_by_a_fitters_watch_are_kept_apart_and_count_only_together(shop: Shop, tiny: Radio) -> None:
    calibrate.store(shop.rules, tiny, calibrate.learn(tiny, 10, [12.0, 13.0], [16.0, 17.0]), on=DAY)
    filmed = rulebook.load(shop.rules).radios["tiny"].boot
    path = calibrate.store_told(shop.rules, tiny, [18.2, 18.4], on=DAY)
    boot = rulebook.load(shop.rules).radios["tiny"].boot
    assert boot.samples == filmed.samples == boot.starts and boot.told == (18.2, 18.4)
    assert "told by fitters, by the watch, until 2026-" in boot.source and filmed.source in boot.source
    calibrate.store_told(shop.rules, tiny, [18.2, 18.4, 18.6], on=DAY)
    boot = rulebook.load(shop.rules).radios["tiny"].boot
    assert boot.starts == (*filmed.samples, 18.2, 18.4, 18.6)
    assert boot.source.count("told by fitters") == 1 and path.name == "tiny.toml"
    calibrate.store(shop.rules, tiny, calibrate.learn(tiny, 10, [14.0], [19.0]), on=DAY)
    boot = rulebook.load(shop.rules).radios["tiny"].boot
    assert len(boot.samples) == 3 and boot.told == (18.2, 18.4, 18.6) and boot.source.count("told by fitters") == 1
