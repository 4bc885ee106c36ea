"""The record: tables, migrations, the one writer, and the questions that pages and exports ask."""
