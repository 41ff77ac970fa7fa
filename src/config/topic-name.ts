/** A level of a topic: no wildcard, no separator, nothing that a file system or a terminal minds. */
export const TOPIC_NAME = '^[A-Za-z0-9][A-Za-z0-9._-]{0,39}$';
/** Stands in topics in the place of a site. */
export const COLLECTORS = 'collectors';

const NAME = new RegExp(TOPIC_NAME);
/** Whether it can be a level of a topic, a folder and a word on a terminal. */
export const isTopicName = (text: string): boolean => NAME.test(text);
