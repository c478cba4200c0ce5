"""temporary"""
from models.spec import Sheet
def check_sheet(sheet: Sheet) -> None:
    """Nothing yet."""
