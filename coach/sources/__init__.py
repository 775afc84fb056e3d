"""Where samples come from: recorded tables, replays, the simulator, the link to a car. Judges nothing."""
