"""What is handed out: html, svg map, text, csv."""
