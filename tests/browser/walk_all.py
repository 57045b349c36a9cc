"""Every protocol walked on the screens, a picture of each step: `RINSEBELL_BIN=… python tests/browser/walk_all.py [PROTOCOL…]`.

Light at a chair's width, dark at a phone's, into target/walks (or the folder RINSEBELL_WALKS names).
"""

import os
import pathlib
import signal
import sys
import time

sys.path.insert(0, str(pathlib.Path(__file__).parent))

from house import House  # noqa: E402
from station import Station  # noqa: E402
from walk import Walk, codes, ready_house  # noqa: E402

TOP = pathlib.Path(__file__).resolve().parents[2]


def main(wanted):
    out = pathlib.Path(os.environ.get("RINSEBELL_WALKS", TOP / "target" / "walks"))
    out.mkdir(parents=True, exist_ok=True)
    house = House(os.environ["RINSEBELL_BIN"])
    chair = Station(house.servers[0].origin)
    failed = []
    # Ended from outside, nothing is left running.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    try:
        ready_house(house, chair)
        for code in wanted or codes():
            began = time.monotonic()
            try:
                walk = Walk(house, chair, code, out).begins().goes_to_the_end()
                print(f"{code}: {len(walk.steps)} steps, {walk.pictures} pictures, {time.monotonic() - began:.0f} s", flush=True)
            except AssertionError as why:
                failed.append(code)
                print(f"{code}: FAILED {str(why)[:1500]}", flush=True)
                chair.driver.save_screenshot(str(out / f"{code}-failed.png"))
                # The chair is free for the next.
                house.sql("update run set ended_at = rinsebell_now(), ended_how = 'left' where ended_at is null")
        bad = chair.complaints()
        if bad:
            failed.append("the browser complained")
            print("\n".join(bad))
    finally:
        chair.close()
        house.close()
    return failed


if __name__ == "__main__":
    sys.exit(1 if main(sys.argv[1:]) else 0)
