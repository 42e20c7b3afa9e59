"""What a vet reads: HTML, figures, tables and the calendar. The only room that draws."""
