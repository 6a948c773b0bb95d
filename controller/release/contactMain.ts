// The contact's own process: it outlives whoever asked for a press by as long as opening takes.
import { openContact } from "./openContact.ts";
import { ownContact } from "./ownContact.ts";

ownContact(openContact);
