"""What a vet reads: words, pages, figures, tables and the calendar. The only room that draws."""
