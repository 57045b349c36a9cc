"""Pictures of a page as different glasses show it, and all of them on one sheet."""

import collections
import dataclasses
import io
import itertools

from PIL import Image, ImageDraw, ImageFont

TALLEST = 4200
COUNT = itertools.count()


@dataclasses.dataclass(frozen=True)
class Look:
    """One way of showing a page: CSS px, device px a CSS px, what the person asked their system for."""

    width: int
    height: int = 900
    scale: float = 1
    theme: str = "light"
    features: tuple = ()
    media: str = ""
    script: bool = True
    whole: bool = True


LOOKS = {
    "chair": Look(1180),  # a tablet at the chair
    "chair-dark": Look(1180, theme="dark"),
    "phone": Look(390, 844),
    "phone-dark": Look(390, 844, theme="dark"),
    "thumb": Look(390, 844, whole=False),  # what a thumb reaches without scrolling
    "narrow": Look(320, 640),
    "zoom": Look(590, 450, scale=2),  # 1180 px at 200 %: a browser's zoom is half the CSS px at twice the scale
    "still": Look(1180, features=(("prefers-reduced-motion", "reduce"),)),
    "forced": Look(1180, features=(("forced-colors", "active"),)),
    "forced-dark": Look(1180, theme="dark", features=(("forced-colors", "active"),)),
    "plain": Look(1180, script=False),
    "wall": Look(1920, 1080, theme="dark", whole=False),
    "paper": Look(680, 962, media="print"),  # A4 less 15 mm on each side, 96 px an inch
    "paper-wide": Look(1046, 718, media="print"),
}


class Camera:
    """Takes pictures of one station into a folder."""

    def __init__(self, station, out):
        self.station, self.out, self.taken, self.wide = station, out, collections.OrderedDict(), []
        self.send = station.driver.execute_cdp_cmd

    def put_on(self, look):
        self.send("Emulation.setDeviceMetricsOverride", {"width": look.width, "height": look.height, "deviceScaleFactor": look.scale, "mobile": False})
        features = [{"name": "prefers-color-scheme", "value": look.theme}, *({"name": n, "value": v} for n, v in look.features)]
        self.send("Emulation.setEmulatedMedia", {"media": look.media, "features": features})
        self.send("Emulation.setScriptExecutionDisabled", {"value": not look.script})

    def script_ran(self):
        return self.station.run_js("return document.readyState === 'complete'")

    def take(self, name, looks, path=None, ready=None):
        """`name` as `looks` show it; at `path`, or the page as it stands."""
        station = self.station
        for which in looks:
            look = LOOKS[which]
            self.put_on(look)
            if path is not None and (station.path != path or not look.script or which == looks[0]):
                station.goes_to(path)
            if ready and look.script:
                ready()
            file = self.out / f"{next(COUNT):03}-{name}-{which}.png"
            beyond = station.width_beyond() if look.script else 0
            if beyond > 0 and not look.media:
                self.wide.append((name, which, beyond))
            self.shoot(look, file)
            self.taken[(name, which)] = file
            if not look.script:
                self.put_on(LOOKS["chair"])
                if path is not None:
                    station.goes_to(path)
        self.put_on(LOOKS["chair"])

    def shoot(self, look, file):
        if look.script:
            self.station.driver.execute_async_script("document.fonts.ready.then(() => requestAnimationFrame(() => arguments[0]()))")
        tall = look.height
        if look.whole and look.script:
            tall = max(look.height, min(self.station.run_js("return document.documentElement.scrollHeight"), TALLEST))
        elif look.whole:
            tall = max(look.height, min(self.send("Page.getLayoutMetrics", {})["cssContentSize"]["height"], TALLEST))
        if tall != look.height:
            self.send("Emulation.setDeviceMetricsOverride", {"width": look.width, "height": int(tall), "deviceScaleFactor": look.scale, "mobile": False})
        picture = Image.open(io.BytesIO(self.station.driver.get_screenshot_as_png())).convert("RGB")
        picture.save(file)


def sheet(pictures, file, columns=8, width=340, tall=720):
    """All pictures on one, small and named, in the order they were taken."""
    font = ImageFont.load_default(13)
    rows = [pictures[n:n + columns] for n in range(0, len(pictures), columns)]
    step, head = width + 12, 20
    made = Image.new("RGB", (columns * step, len(rows) * (tall + head + 8)), "#777777")
    draw = ImageDraw.Draw(made)
    for down, row in enumerate(rows):
        for across, (name, source) in enumerate(row):
            with Image.open(source) as picture:
                small = picture.resize((width, max(1, round(picture.height * width / picture.width)))).crop((0, 0, width, min(tall, round(picture.height * width / picture.width))))
            x, y = across * step + 6, down * (tall + head + 8) + 4
            draw.text((x, y), name, fill="white", font=font)
            made.paste(small, (x, y + head))
    made.save(file, quality=80)


def shoot(station, path, width, theme, file, height=None):
    """One whole page at one width."""
    send = station.driver.execute_cdp_cmd
    send("Emulation.setDeviceMetricsOverride", {"width": width, "height": height or 900, "deviceScaleFactor": 1, "mobile": False})
    send("Emulation.setEmulatedMedia", {"features": [{"name": "prefers-color-scheme", "value": theme}, {"name": "prefers-reduced-motion", "value": "reduce"}]})
    station.goes_to(path)
    station.driver.execute_async_script("document.fonts.ready.then(() => arguments[0]())")
    if height is None:
        tall = min(station.run_js("return document.documentElement.scrollHeight"), 4000)
        send("Emulation.setDeviceMetricsOverride", {"width": width, "height": max(tall, 600), "deviceScaleFactor": 1, "mobile": False})
    station.driver.save_screenshot(str(file))
