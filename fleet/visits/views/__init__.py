"""Pages of the visits room."""
