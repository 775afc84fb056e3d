// A screen beside the drive gives way to it at once when an alarm comes, the car is locked, or the drive is over.

import { follow } from "../store.js";

/** @param {import("../main.js").Way} way */
export function giveWay(way) {
  way.leave(follow(({ live }) => {
    if (!live || !way.current()) return;
    const { alarm, drive, face } = live;
    const over = drive.phase === "ended" || drive.phase === "none";
    if (alarm || face.ground === "alarm" || face.ground === "warn" || drive.locked || over) way.go("#/drive");
  }));
}
