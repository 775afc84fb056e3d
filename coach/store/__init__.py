"""The data folder: SQLite with every sample in blocks, and the files of secured windows."""

from coach.store.files import write_durable
from coach.store.model import Around, DriveRow, NewDrive, RecipeRow, StoredEvent, WindowRow
from coach.store.store import Store

__all__ = ["Around", "DriveRow", "NewDrive", "RecipeRow", "Store", "StoredEvent", "WindowRow", "write_durable"]
