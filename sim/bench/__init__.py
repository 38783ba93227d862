"""The window where people practise: pygame here only."""
