"""A picture: files that are the same each time, alternative text, nothing that runs."""

from __future__ import annotations

import base64
import xml.etree.ElementTree as ET
from io import BytesIO
from pathlib import Path

import pandas as pd
import pytest
from PIL import Image

from sharpstats.figures import style
from sharpstats.figures.picture import Picture

SVG = "{http://www.w3.org/2000/svg}"


def picture(text: str = "slate", title: str = "Title", alt: str = "A sentence.") -> Picture:
    with style.styled():
        figure = style.sheet(2.0)
        axes = style.place(figure, 0.5, 0.5, 5.0, 1.0)
        axes.plot([1.0, 2.0], [1.0, 2.0], "o")
        style.write(figure, 0.2, 0.1, style.drawable(text))
    return Picture("name", title, alt, pd.DataFrame({"x": [1.0, 2.0]}), figure)


def test_two_pictures_of_the_same_are_the_same_bytes(tmp_path: Path) -> None:
    one, other = picture(), picture()
    assert one.png_bytes == other.png_bytes
    assert one.svg_text == other.svg_text
    assert one.png(tmp_path / "a.png").read_bytes() == one.png_bytes
    assert one.svg(tmp_path / "a.svg").read_text(encoding="utf-8") == one.svg_text


def test_png_is_fine_and_says_what_it_shows() -> None:
    image = Image.open(BytesIO(picture(alt="Straße 石 <b>").png_bytes))
    assert image.size == (1280, 400)
    assert image.info["Description"] == "Straße 石 <b>"
    assert image.info["Title"] == "Title"
    assert "Software" not in image.info


def test_svg_has_title_and_description_and_asks_for_nothing() -> None:
    text = picture(title="A <b>", alt='5 & 6 "x"\nand more').svg_text
    root = ET.fromstring(text)
    assert root.get("role") == "img"
    assert [child.tag for child in root][:2] == [f"{SVG}title", f"{SVG}desc"]
    assert (root[0].text, root[1].text) == ("A <b>", '5 & 6 "x" and more')
    assert "DOCTYPE" not in text and "<image" not in text and "http://www.w3.org/Graphics" not in text


@pytest.mark.parametrize(
    "text",
    [
        "<script>alert(1)</script>", "$\\frac{1}{2}$ and $5", "snow_white^2", "a -- b -->", "emoji 😀 石", "x" * 300,
        "\x00\x1b",
    ],
)
def test_labels_are_drawn_as_letters(text: str) -> None:
    made = picture(text, title=text, alt=text)
    root = ET.fromstring(made.svg_text)
    tags = {element.tag.removeprefix(SVG) for element in root.iter() if isinstance(element.tag, str)}
    assert not tags & {"script", "foreignObject", "a", "image", "text"}
    assert "<script" not in made.svg_text
    assert made.png_bytes.startswith(b"\x89PNG")


def test_a_notebook_keeps_the_alternative_text_and_the_size() -> None:
    made = picture(alt="A sentence\nwith a break.")
    data, metadata = made._repr_mimebundle_()
    assert base64.b64decode(data["image/png"]) == made.png_bytes
    assert data["text/plain"] == "A sentence with a break."
    assert metadata == {"image/png": {"alt": "A sentence with a break.", "width": 640, "height": 200}}


def test_text_and_repr_are_short() -> None:
    made = picture()
    assert str(made) == "A sentence."
    assert repr(made) == "Picture(name='name', title='Title', alt='A sentence.', fine=200)"
