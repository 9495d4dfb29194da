"""The dashboard: thin Flask pages over the other rooms; no rule of the trade lives here."""
