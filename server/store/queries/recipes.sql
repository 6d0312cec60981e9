-- name: NewestRecipe :one
SELECT body
FROM recipe_versions
WHERE studio_key = @studio_key AND recipe_id = @recipe_id
ORDER BY version DESC
LIMIT 1;

-- name: GetRecipe :one
SELECT body
FROM recipe_versions
WHERE studio_key = @studio_key AND recipe_id = @recipe_id AND version = @version;

-- name: ListRecipes :many
SELECT DISTINCT ON (recipe_id) body
FROM recipe_versions
WHERE studio_key = @studio_key AND recipe_id > @after_id
ORDER BY recipe_id, version DESC
LIMIT NULLIF(@max_rows::bigint, 0);

-- name: InsertRecipe :exec
INSERT INTO recipe_versions (studio_key, recipe_id, version, body, create_time)
VALUES (@studio_key, @recipe_id, @version, @body, @create_time);
