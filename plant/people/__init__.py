"""People, their skills, shifts and absences; sign-ins and roles."""
