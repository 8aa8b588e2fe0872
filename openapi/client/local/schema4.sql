-- Which sessions and shots the copy has: those held since a day, '' for all, of an athlete, NULL for everybody's.
ALTER TABLE squads ADD COLUMN since TEXT NOT NULL DEFAULT '';
ALTER TABLE squads ADD COLUMN of_athlete TEXT;
