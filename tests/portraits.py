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
FACE = (26, 30)  # what is compared: letters are blurred away, boxes, drawings and their places stay
LIKE = 12.0  # of 255


def take_portrait(page: Page) -> Image.Image:
    """The screen from its top as it is now, in few colours."""
    page.evaluate("() => scrollTo(0, 0)")
    shot = Image.open(io.BytesIO(page.screenshot(animations="disabled", caret="hide"))).convert("RGB")
    if shot.width > WIDEST:
        shot = shot.resize((WIDEST, shot.height * WIDEST // shot.width), Image.Resampling.LANCZOS)
    return shot.quantize(COLOURS, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)


def reduce_face(image: Image.Image) -> NDArray[np.float64]:
    """Lightness of the picture's blocks, 0 to 255."""
    return np.asarray(image.convert("L").resize(FACE, Image.Resampling.BOX), dtype=np.float64)


def measure_distance(first: Image.Image, second: Image.Image) -> float:
    """Mean difference of the blocks' lightness, 0 to 255."""
    return float(np.mean(np.abs(reduce_face(first) - reduce_face(second))))


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
    return {name: round(distance, 1) for name, distance in far.items() if distance > LIKE}
