// Registered and taken away again by device-check.js: whether the browser accepts a worker here at
// all. It answers nothing.
