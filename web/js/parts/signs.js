// Shapes that only parked screens show: where a capture is made, what the notes are about.

import { addShapes, mark } from "./marks.js";

addShapes({
  tick: [["M3 12.5l6 6L21.5 5.5", 4]],
  mind: [["M12 1l11 11-11 11L1 12z", 2.6], ["M10.6 6h2.8v7.5h-2.8zM10.6 15.2h2.8V18h-2.8z"]],
  cross: [["M4 4l16 16M20 4L4 20", 4]],
  road: [["M8.5 2L3 22M15.5 2L21 22", 2.6], ["M12 3v4M12 10v4M12 17v5", 2.6]],
  closed: [["M2.5 8h19v7h-19zM5 15v7M19 15v7M5 3v5M19 3v5", 2.6], ["M7 15l5-7M13 15l5-7", 2.4]],
  parked: [["M2 20.5h20", 3], ["M4 16.5v-5l3-6h10l3 6v5z", 2.6], ["M4.5 11.5h15", 2.2]],
  driver: [["M12 2.5a9.5 9.5 0 1 1 0 19a9.5 9.5 0 1 1 0-19z", 3], ["M3 11.5c6-2.6 12-2.6 18 0M12 14v8", 3], ["M12 10.4a2.6 2.6 0 1 1 0 5.2a2.6 2.6 0 1 1 0-5.2z"]],
  air: [["M2 8h12a3 3 0 1 0-3-3M2 13h17a3 3 0 1 1-3 3M2 18h8", 2.6]],
  lamp: [["M12 2l11 19H1z", 2.6], ["M10.7 9h2.6v6h-2.6zM10.7 16.4h2.6V19h-2.6z"]],
  on: [["M9.5 4L18 12l-8.5 8", 3]],
  law: [["M12 2v19M5 21h14M3 7h18", 2.4], ["M6 7l-4 8h8zM18 7l-4 8h8z", 2.2]],
});

/** Where a capture is made, to its sign. @type {Record<string, string>} */
export const PLACE_MARKS = { road: "road", "closed course": "closed", parked: "parked" };

export { mark };
