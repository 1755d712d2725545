"""The kept pictures of the screens: taking one, and how far a screen is from each of them."""

import io
import os
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from playwright.sync_api import Page

FOLDER = Path(__file__).resolve().parent / "dashboard" / "portraits"
SITTING = os.environ.get("CALMPASS_PORTRAITS")  # a folder for pictures taken anew, to be looked at before they are kept
LOOKS = ("phone_light", "laptop_dark")
COLOURS = 32
WIDEST = 720
FACE = (39, 42)  # what is compared: letters are blurred away, boxes, drawings and their places stay
LIKE = 0.1  # two sittings differed by 0.02 at the most, also on a busy machine; two places by more than this


TO_FORM = """() => {
  const opened = document.querySelector('main form.card h3, main .shape-map');
  (opened ?? document.body).scrollIntoView({block: 'start'});
}"""


def take_portrait(page: Page, *, from_top: bool) -> Image.Image:
    """The screen as it is now, from the page's top or from the form that was opened, in few colours."""
    page.evaluate("() => scrollTo(0, 0)" if from_top else TO_FORM)
    shot = Image.open(io.BytesIO(_shoot_still(page))).convert("RGB")
    if shot.width > WIDEST:
        shot = shot.resize((WIDEST, shot.height * WIDEST // shot.width), Image.Resampling.LANCZOS)
    return shot.quantize(COLOURS, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)


def _shoot_still(page: Page) -> bytes:
    """A screenshot like the one before it: just after a jump some of the screen may not be painted yet."""
    before = b""
    for _ in range(10):
        page.wait_for_timeout(100)
        now = page.screenshot(animations="disabled", caret="hide")
        if now == before:
            break
        before = now
    return before


def reduce_face(image: Image.Image) -> NDArray[np.float64]:
    """What stands out from the picture's ground, block by block."""
    lightness = np.asarray(image.convert("L").resize(FACE, Image.Resampling.BOX), dtype=np.float64)
    return np.asarray(lightness - np.median(lightness))


def measure_distance(first: Image.Image, second: Image.Image) -> float:
    """How unlike two pictures are, 0 to 2: one less the cosine between what stands out in them."""
    one, other = reduce_face(first), reduce_face(second)
    size = float(np.linalg.norm(one) * np.linalg.norm(other))
    return 1.0 - float(np.sum(one * other)) / size if size > 0.0 else 2.0


def keep_portraits(portraits: dict[str, Image.Image], folder: Path) -> None:
    """Keep the pictures in a folder instead of those of before."""
    folder.mkdir(parents=True, exist_ok=True)
    for old in folder.glob("*.png"):
        old.unlink()
    for name, image in portraits.items():
        image.save(folder / name, optimize=True)


def name_strangers(portraits: dict[str, Image.Image]) -> dict[str, float]:
    """The pictures that are far from the kept one of their name, and how far."""
    far = {name: measure_distance(image, Image.open(FOLDER / name)) for name, image in portraits.items()}
    return {name: round(distance, 3) for name, distance in far.items() if distance > LIKE}
