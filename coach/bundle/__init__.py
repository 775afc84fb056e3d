"""What goes back to the calibrator: made, signed, opened, judged again and compared. It writes its one file only."""
