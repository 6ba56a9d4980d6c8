"""Who is told what of their own work: pages, calendars, mails, day sheets."""
