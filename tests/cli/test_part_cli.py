"""`flatwright part` as a user meets it."""

import json

from PIL import Image

from sim.cli import main
from sim.paths import assets


def test_the_stand_is_shown_with_its_faces_and_drawn(capsys, tmp_path):
    assert main(["part", "--out", str(tmp_path)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert all(word in out for word in ("foot", "160 × 110", "-z", "side", "+x", "parallelism", "stand-part.png"))
    with Image.open(tmp_path / "stand-part.png") as picture:
        assert min(picture.size) > 500
    assert main(["part", "--out", str(tmp_path)]) == 2
    assert "is there already" in capsys.readouterr().err


def test_json_tells_the_iron_less_the_cutouts(capsys):
    assert main(["part", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    foot, top, side = told["faces"]
    assert foot["iron_mm2"] == 160 * 110
    pi = 3.14159265
    pocket, slot = 44 * 30 - (4 - pi) * 16, 42 * 8 + pi * 16
    assert abs(top["iron_mm2"] - (120 * 90 - pocket - slot)) < 8.0  # a cell at each rim: 0.0625 mm2, both ways
    assert abs(side["iron_mm2"] - (110 * 60 - 2 * pi * 4.5**2 - 1.5 * 60)) < 4.0
    assert top["iron_mm2"] > 0.7 * 120 * 90
    assert side["frame"]["out"] == [1, 0, 0]


def test_every_fault_has_a_line_of_its_own(capsys, tmp_path):
    text = (assets() / "parts" / "stand.toml").read_text(encoding="utf-8")
    path = tmp_path / "bad.toml"
    path.write_text(text.replace("mass_kg", "mass").replace("limit_um = 4.0", "limit_um = -4.0"), encoding="utf-8")
    assert main(["part", str(path), "--out", str(tmp_path)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    first, second = err.splitlines()
    assert first.startswith(f"flatwright: {path}:4: mass: units missing")
    assert "tolerance[2].limit_um: must be in" in second
    assert list(tmp_path.iterdir()) == [path]
