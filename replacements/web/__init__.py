"""The pages: a blueprint per page of work. No rule of the trade lives here; the other rooms are asked."""
