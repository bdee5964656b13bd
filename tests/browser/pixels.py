"""What a picture is made of: how many of its pixels have chroma, and how far its tones lie apart.

The browser that drew the picture reads it, too: a page of its own, without the policy of the page that was pictured.
"""

from __future__ import annotations

import base64
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass

from playwright.async_api import Browser, Page

__all__ = ["Reader", "Tones", "open_reader"]

#: Red, green and blue further apart than this are a colour: grey text is drawn in greys, edges included.
_GREY = 2
_READ = """
async ({ picture, grey }) => {
  const bytes = Uint8Array.from(atob(picture), (each) => each.charCodeAt(0));
  const bitmap = await createImageBitmap(new Blob([bytes], { type: "image/png" }));
  const paper = new OffscreenCanvas(bitmap.width, bitmap.height).getContext("2d");
  paper.drawImage(bitmap, 0, 0);
  const { data } = paper.getImageData(0, 0, bitmap.width, bitmap.height);
  const linear = (part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4);
  const light = [...Array(256).keys()].map((each) => linear(each / 255));
  let [coloured, first, least, most] = [0, "", 1, 0];
  for (let at = 0; at < data.length; at += 4) {
    const [red, green, blue] = [data[at], data[at + 1], data[at + 2]];
    if (Math.max(red, green, blue) - Math.min(red, green, blue) > grey) {
      coloured += 1;
      first ||= `${(at / 4) % bitmap.width},${Math.floor(at / 4 / bitmap.width)}: ${red} ${green} ${blue}`;
    }
    const luminance = 0.2126 * light[red] + 0.7152 * light[green] + 0.0722 * light[blue];
    least = Math.min(least, luminance);
    most = Math.max(most, luminance);
  }
  return [data.length / 4, coloured, first, (most + 0.05) / (least + 0.05)];
}
"""


@dataclass(frozen=True, slots=True)
class Tones:
    """Of one picture. `first` is the first pixel with chroma: x,y and its red, green and blue.

    `contrast` is that of its lightest to its darkest tone, as WCAG 2.2 defines the contrast ratio.
    """

    pixels: int
    coloured: int
    first: str
    contrast: float


class Reader:
    """Reads pictures, one after the other, on a page of its own."""

    def __init__(self, page: Page) -> None:
        self._page = page

    async def tones(self, picture: bytes) -> Tones:
        """Every pixel of a PNG is looked at."""
        asked = {"picture": base64.b64encode(picture).decode(), "grey": _GREY}
        pixels, coloured, first, contrast = await self._page.evaluate(_READ, asked)
        return Tones(int(pixels), int(coloured), str(first), float(contrast))


@asynccontextmanager
async def open_reader(browser: Browser) -> AsyncIterator[Reader]:
    """A reader; its page goes at the end."""
    page = await browser.new_page()
    try:
        yield Reader(page)
    finally:
        await page.close()
