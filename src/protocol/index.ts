/** Public: schemas and types of the stream's messages. Importing it starts nothing. */
export * from './messages.js';
