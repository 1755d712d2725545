"""Every place on paper: ink on white from a page read in the dark, and nothing of the frame or to press."""

PLACES = ("start", "fill", "season", "record", "site", "gear", "air")
READ = """() => ({
  paper: getComputedStyle(document.body).backgroundColor,
  ink: getComputedStyle(document.body).color,
  left: [...document.querySelectorAll("header, nav, footer, .skip, button, input, select, textarea, dialog")]
    .filter((each) => each.checkVisibility()).map((each) => each.outerHTML.slice(0, 60)),
})"""


def test_each_place_is_printed_black_on_white_without_places_or_buttons(show) -> None:
    page = show("start", (1280, 800), "dark")
    for place in PLACES:
        page.evaluate("place => { location.hash = place }", place)
        page.locator(f"body[data-page={place}] h1").first.wait_for()
        page.emulate_media(media="print")
        assert page.evaluate(READ) == {"paper": "rgb(255, 255, 255)", "ink": "rgb(0, 0, 0)", "left": []}, place
        page.emulate_media(media="null")
    page.evaluate("document.documentElement.dataset.light = 'dusk'")
    page.emulate_media(media="print")
    assert page.evaluate(READ)["paper"] == "rgb(255, 255, 255)"
