"""The manager's own protocols walked on the screens, a picture of each page: copied, changed, below the floor, saved over
by somebody else, rehearsed, published, news of a later shipped one, offered no more.

`RINSEBELL_BIN=… python tests/browser/walk_editor.py`; into target/walks (or the folder RINSEBELL_WALKS names).
"""

import os
import pathlib
import sys

sys.path.insert(0, str(pathlib.Path(__file__).parent))

import story  # noqa: E402
from camera import shoot  # noqa: E402
from house import House  # noqa: E402
from station import Station  # noqa: E402
from story import PIN  # noqa: E402

TOP = pathlib.Path(__file__).resolve().parents[2]
SIZES = (("desktop", 1180, "light"), ("desktop-dark", 1180, "dark"), ("phone-dark", 360, "dark"), ("narrow", 320, "light"))
CODE = "curl-retouch"
ONE, DRAFT = f"/protocols/{CODE}", f"/protocols/{CODE}/draft"


class Editor:
    """One manager at one station."""

    def __init__(self, house, desk, out):
        self.house, self.desk, self.out, self.pages = house, desk, out, 0

    def picture(self, name, path=None, height=None):
        """Every size of a page, or of what stands at its anchor; nothing is wider than its screen."""
        desk = self.desk
        at = path or desk.path
        self.pages += 1
        for size, width, theme in SIZES:
            shoot(desk, at, width, theme, self.out / f"editor-{self.pages:02}-{name}-{size}.png", height)
            beyond = desk.width_beyond()
            assert beyond <= 0, f"{name}, {size}: {beyond} px wider than the screen"
        self.rests()

    def rests(self):
        self.desk.driver.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        self.desk.driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
        self.desk.goes_to(self.desk.path)

    def answer_picture(self, name):
        """A page that answers a form cannot be asked for again: pictured as it stands."""
        desk = self.desk
        self.pages += 1
        send = desk.driver.execute_cdp_cmd
        for size, width, theme in SIZES:
            send("Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": theme}]})
            send("Emulation.setDeviceMetricsOverride", {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False})
            tall = min(desk.run_js("return document.documentElement.scrollHeight"), 4000)
            send("Emulation.setDeviceMetricsOverride", {"width": width, "height": max(tall, 600), "deviceScaleFactor": 1, "mobile": False})
            desk.driver.save_screenshot(str(self.out / f"editor-{self.pages:02}-{name}-{size}.png"))
            beyond = desk.width_beyond()
            assert beyond <= 0, f"{name}, {size}: {beyond} px wider than the screen"
        send("Emulation.clearDeviceMetricsOverride", {})
        send("Emulation.setEmulatedMedia", {"features": []})

    def walks(self, other):
        desk = self.desk
        self.picture("list", "/protocols")
        desk.goes_to("/protocols").presses("Curl retouch", "main")
        self.picture("one-as-shipped")
        desk.presses("Change a copy", "main")
        desk.sees("Nothing changed yet")
        self.picture("draft-new")
        desk.goes_to(f"{DRAFT}/step?of=cover")
        self.picture("step-cover")
        desk.goes_to(f"{DRAFT}/step?of=apply-1")
        self.picture("step-apply")
        # Below the floor: kept, and said.
        desk.goes_to(f"{DRAFT}/step?of=cover").writes("Longest allowed", "45").presses("Keep in the draft", "main")
        desk.sees("never above")
        self.picture("step-below-the-floor")
        self.picture("draft-to-mend", DRAFT)
        desk.goes_to(f"{ONE}/publication").sees("Below the floor of safety")
        assert not desk.has("Publish", "main"), "nothing below the floor is published"
        self.picture("publication-below-the-floor")
        desk.goes_to(f"{DRAFT}/step?of=cover").writes("Longest allowed", "twelve").presses("Keep in the draft", "main")
        self.answer_picture("step-unreadable")
        desk.writes("Longest allowed", "12").presses("Keep in the draft", "main")
        # Somebody else saves what is being typed into.
        desk.goes_to(f"{DRAFT}/step?of=dry").writes("Title", "Dry, cool and slow")
        other.goes_to(f"{DRAFT}/step?of=dry").writes("Title", "Dry well").presses("Keep in the draft", "main")
        desk.presses("Keep in the draft", "main")
        desk.sees("Somebody saved this draft meanwhile")
        assert desk.find("field", "Title").get_attribute("value") == "Dry, cool and slow", "what was typed stands"
        self.answer_picture("step-saved-meanwhile")
        desk.presses("Keep in the draft", "main")
        # The service as a whole, a step more, one moved.
        desk.goes_to(DRAFT).writes("Usually after", "13").writes("The latest after", "22").presses("Keep the service", "#service")
        desk.writes("A copy of", "Four quadrants").presses("Add the step", "main")
        assert "/draft/step" in desk.path, desk.path
        desk.writes("Title", "Look at the nape").presses("Keep in the draft", "main")
        desk.goes_to(DRAFT).sees("ready to publish")
        self.picture("draft-changed")
        self.picture("draft-service", f"{DRAFT}#service", 1900)
        for name, acts in (("start", ""), ("mid", "&acts=40"), ("late", "&acts=80")):
            self.picture(f"rehearsal-{name}", f"{ONE}/rehearsal?of=draft{acts}")
        desk.goes_to(f"{ONE}/rehearsal?of=draft")
        for _ in range(400):
            if not desk.has("Next", ".bar"):
                break
            desk.presses("To the next step" if desk.has("To the next step", ".bar") else "Next", ".bar")
        desk.sees("Finished")
        self.picture("rehearsal-end")
        self.picture("publication", f"{ONE}/publication")
        desk.goes_to(f"{ONE}/publication").writes("Why", "Our cream works faster.").presses("Publish", "main")
        desk.sees("The salon’s own, revision 1001")
        self.picture("one-own", ONE)
        desk.goes_to(ONE).writes("Why", "Nobody asks for it.").presses("Offer it no more", "form[action$='/retirement']")
        desk.sees("Not offered")
        self.picture("one-not-offered", ONE)
        self.picture("list-own", "/protocols")


def main():
    out = pathlib.Path(os.environ.get("RINSEBELL_WALKS", TOP / "target" / "walks"))
    out.mkdir(parents=True, exist_ok=True)
    house = House(os.environ["RINSEBELL_BIN"])
    desk, other = Station(house.servers[0].origin), Station(house.servers[1].origin)
    try:
        house.take_the_clock()
        story.found_the_salon(desk)
        desk.signs_in("Ondine Marsh", PIN["Ondine Marsh"])
        story.pair_a_station(desk, other, "Office", "office")
        other.signs_in("Ondine Marsh", PIN["Ondine Marsh"])
        editor = Editor(house, desk, out)
        editor.walks(other)
        print(f"editor: {editor.pages} pages, each in {len(SIZES)} sizes", flush=True)
        bad = desk.complaints() + other.complaints()
        print("\n".join(bad))
        return 1 if bad else 0
    finally:
        desk.close()
        other.close()
        house.close()


if __name__ == "__main__":
    sys.exit(main())
