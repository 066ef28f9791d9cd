"""The page on which a spreadsheet is brought: what was understood, what is asked, what would come of it."""
