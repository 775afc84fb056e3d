"""What goes back to the calibrator: made, signed, opened, judged again and compared. Never writes outside its one file."""
