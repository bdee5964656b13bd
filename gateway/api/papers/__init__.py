"""Papers as files: pages that print well, and tables for a spreadsheet."""
