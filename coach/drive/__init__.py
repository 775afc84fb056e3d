"""The one loop: source, judge, store, listeners; what is done beside it; recovery after a crash."""
