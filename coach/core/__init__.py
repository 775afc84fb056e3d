"""The judge, sans-IO: frames in, events out. Stdlib and numpy only; reads no clock, opens no file, logs nothing."""
