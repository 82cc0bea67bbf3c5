import './who.js';
