"""Pictures of the program for README.md: ``python -m tests.pictures`` while the demo is served (test extra, Chromium).

python manage.py demo                      # in another window
python -m tests.pictures [http://127.0.0.1:8000]
"""

import os
import sys
from pathlib import Path

import django
from PIL import Image
from playwright.sync_api import Page, sync_playwright

FOLDER = Path(__file__).resolve().parent.parent / "fixtures" / "pictures"
LARGEST_BYTES = 150_000
# File, who looks, at what, and the part of the page from its top: width and height in pixels.
PICTURES = (
    ("kilns.png", "ilse", "/kilns/", 1360, 960),
    ("openings.png", "oda", "/openings/", 1360, 960),
    ("availability.png", "rolf", "/availability/", 1360, 960),
)


def sign_in(page: Page, address: str, name: str, password: str) -> None:
    """Sign one of the demo's people in, to whom all pages are known."""
    page.goto(f"{address}/sign-in/")
    page.fill("input[name=username]", name)
    page.fill("input[name=password]", password)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)


def main() -> None:
    """Draw all pictures anew."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")
    django.setup()
    from maintenance.demo.setting_up import DEMO_PASSWORD

    address = (sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8000").rstrip("/")
    FOLDER.mkdir(exist_ok=True)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=os.environ.get("CHROMIUM", "/usr/bin/chromium"), args=["--no-sandbox", "--disable-gpu"]
        )
        for file, name, path, width, height in PICTURES:
            page = browser.new_page(viewport={"width": width, "height": height})
            sign_in(page, address, name, DEMO_PASSWORD)
            page.goto(f"{address}{path}")
            page.wait_for_load_state("networkidle")
            page.evaluate("for (const box of document.querySelectorAll('details.purpose')) box.open = false")
            page.screenshot(path=FOLDER / file)
            with Image.open(FOLDER / file) as picture:
                picture.quantize(128).save(FOLDER / file, optimize=True)
            size = (FOLDER / file).stat().st_size
            print(f"{file}: {size / 1000:.0f} kB")  # noqa: T201
            if size > LARGEST_BYTES:
                raise SystemExit(f"{file} has more than {LARGEST_BYTES / 1000:.0f} kB: show less of the page.")
            page.close()
        browser.close()


if __name__ == "__main__":
    main()
