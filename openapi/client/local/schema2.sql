-- The wire schema that a change was made by: fields that came later are none of its business.
ALTER TABLE changes ADD COLUMN schema INTEGER NOT NULL DEFAULT 1;
